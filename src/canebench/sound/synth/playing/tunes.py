"""Invented tunes: random walks over the chanter's nine notes. Guarded by `tests/analytic/test_tunes.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.notes import NOTES
from canebench.sound.synth.recipe import PlannedNote

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Most steps are to a neighbour; the rest are leaps.
_STEPS: Final = (-4, -3, -2, -1, 1, 2, 3, 4)
_OFTEN: Final = (0.04, 0.08, 0.13, 0.25, 0.25, 0.13, 0.08, 0.04)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kind:
    total_s: float
    shortest_s: float
    longest_s: float


_KINDS: Final = {
    "march": _Kind(total_s=60.0, shortest_s=0.2, longest_s=0.9),
    "air": _Kind(total_s=90.0, shortest_s=0.5, longest_s=3.0),
}
TUNES: Final = tuple(_KINDS)


def tune_notes(
    seed: int,
    *,
    total_s: float,
    shortest_s: float,
    longest_s: float,
    offsets_cents: Mapping[str, float] | None = None,
) -> tuple[PlannedNote, ...]:
    """A tune of about `total_s`: no note follows itself, all nine occur in time, long ones are rarer.

    A note has the same offset from the scale whenever it comes. The last note is low A, the longest.
    """
    if not 0.02 <= shortest_s <= longest_s <= total_s:
        raise InputError(
            field="lengths of a tune",
            given=f"{shortest_s:g}, {longest_s:g} and {total_s:g} s",
            allowed="shortest, longest and total must rise from 0.02 s",
        )
    rng = np.random.default_rng(seed)
    offsets = offsets_cents or {}
    place, left, notes = NOTES.index("low A"), total_s - longest_s, []
    while left > 0:
        duration_s = shortest_s * (longest_s / shortest_s) ** float(rng.uniform())
        notes.append((NOTES[place], duration_s))
        left -= duration_s
        place = _next(place, rng)
    if notes and notes[-1][0] == "low A":
        notes.pop()
    notes.append(("low A", longest_s))
    return tuple(
        PlannedNote(note=note, duration_s=duration_s, offset_cents=offsets.get(note, 0.0))
        for note, duration_s in notes
    )


def tune(
    kind: str, seed: int, *, offsets_cents: Mapping[str, float] | None = None
) -> tuple[PlannedNote, ...]:
    """The notes of a "march" (about a minute) or a slow "air" (a minute and a half).

    Parameters
    ----------
    kind : str
        One of `TUNES`.
    seed : int >= 0
        The same seed gives the same tune.
    offsets_cents : mapping of note to number, optional
        How far off the scale a note is whenever it comes, cents; 0 for the others.

    Returns
    -------
    tuple of PlannedNote
        All nine notes occur; the last is low A. The tunes are invented.

    Raises
    ------
    UnknownNameError
        No such kind. Guarded by `tests/analytic/test_tunes.py`.
    """
    if kind not in _KINDS:
        raise UnknownNameError(field="tune", given=kind, known=TUNES)
    made = _KINDS[kind]
    return tune_notes(
        seed,
        total_s=made.total_s,
        shortest_s=made.shortest_s,
        longest_s=made.longest_s,
        offsets_cents=offsets_cents,
    )


def _next(place: int, rng: np.random.Generator) -> int:
    """Another note within the chanter: a step that leads past its ends is turned round."""
    step = int(rng.choice(_STEPS, p=_OFTEN))
    return place + step if 0 <= place + step < len(NOTES) else place - step
