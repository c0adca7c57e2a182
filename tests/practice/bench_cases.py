"""Short ways to set up a chanter on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.scales import DEFAULT_SCALE
from canebench.fitting.balance import Deviation
from canebench.fitting.next_act import Against, next_act

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from canebench.fitting.acts import NextAct


def chanter(
    *,
    height: float = 0.0,
    tilt: float = 0.0,
    sd: float = 0.3,
    notes: Iterable[str] = NOTES,
    rest: Mapping[str, float] | None = None,
) -> dict[str, Deviation]:
    """Deviations of a chanter with this beam; `rest` is what stands above it, by note."""
    off = rest or {}
    interval = {note: DEFAULT_SCALE.cents(note) for note in NOTES}
    return {
        note: Deviation(
            cents=height + tilt * (interval[note] / 1200 - 0.5) + off.get(note, 0.0),
            sd_cents=sd,
            interval_cents=interval[note],
        )
        for note in NOTES
        if note in set(notes)
    }


def advice(deviations: dict[str, Deviation], *, against: Against = "drones") -> NextAct:
    """The next act, the reference known to 0.1 cents."""
    return next_act(deviations, against=against, reference_sd_cents=0.0 if against == "low-a" else 0.1)


OCTAVE = (LOW_A, HIGH_A)
