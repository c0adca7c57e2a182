"""What a millimetre does on a chanter: cents per unit of each change, note by note, with its uncertainty.

Guarded by `tests/doors/test_plan_command.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.base.uncertain import Uncertain
from canebench.bench.acts.fitting.model_effects import instrument_of
from canebench.bore.instrument import pitches_hz, sensitivity_at

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.base.setting import Setting
    from canebench.bench.acts.fitting.fitting import Fitting

_TAPE_MM: Final = 1.5
_STEP: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """One change and the cents by which each note moves; a note that it does not reach is left out."""

    change: str
    cents: Mapping[str, Uncertain]


def chanter_effects(fitting: Fitting) -> tuple[Effect, ...]:
    """Seat, a pinch, tape on each hole from the bottom up, and a degree of warmth."""
    belief = fitting.belief()
    present = fitting.present
    bare = replace(present, tape_mm={})
    changes = [
        ("1 mm deeper", _seat(present, -_STEP), _seat(present, _STEP)),
        ("one pinch", present, replace(present, pinches=present.pinches + 1)),
        *(
            (f"{_TAPE_MM:g} mm of tape on {hole}", bare, replace(bare, tape_mm={hole: _TAPE_MM}))
            for hole in reversed(HOLES)
        ),
    ]
    found = []
    for change, before, after in changes:
        moved, sd = belief.effect(before, after)
        cents = {
            note: Uncertain(value=float(moved[i]), sd=float(sd[i]))
            for i, note in enumerate(NOTES)
            if abs(moved[i]) >= 0.005
        }
        found.append(Effect(change=change, cents=cents))
    return (*found, _degree(fitting))


def _degree(fitting: Fitting) -> Effect:
    """One degree of the air in the bore: physics of air alone, without an uncertainty worth telling."""
    instrument = instrument_of(fitting.chanter)
    hz = pitches_hz(instrument, [fitting.present])[0]
    by = sensitivity_at(instrument, fitting.present, hz).per_degc
    return Effect(
        change="1 °C warmer air in the bore",
        cents={note: Uncertain(value=float(by[i]), sd=None) for i, note in enumerate(NOTES)},
    )


def _seat(setting: Setting, by_mm: float) -> Setting:
    return replace(setting, seat_mm=setting.seat_mm + by_mm)
