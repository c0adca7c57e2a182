"""Steps between notes that no reed plays: two As in one place or the wrong way round, a semitone too many.

Such a take is asked about before it is taken. Guarded by `tests/practice/test_slips.py` and
`tests/practice/test_fitting_edges.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.uncertain import number
from canebench.base.units import hz_to_cents

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.base.scales import Scale

#: A step this far off is no reed's. Published scales differ by 48.8 cents in one note, and a reed that fits a
#: chanter badly puts two neighbours some 50 cents apart; a slip of a semitone makes 100, which may lie on a
#: note that is off by 20 by itself. Common practice, no source.
SLIP_CENTS: Final = 80.0
#: Two As closer to each other than this are one note.
_ONE_NOTE_CENTS: Final = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """One suspicion: the notes that it is about, and what is odd about them, a clause without a full stop."""

    notes: tuple[str, ...]
    said: str


def slips_of(hz: Mapping[str, float], scale: Scale) -> tuple[Slip, ...]:
    """What looks like a slip of the hand, of the meter or of a fingering.

    Parameters
    ----------
    hz : mapping of note to number > 0
        The notes that were played, Hz; one that is not finite says nothing.
    scale : Scale
        The target, for the steps from note to note.

    Returns
    -------
    tuple of Slip
        The octave's alone where it is odd, else those of the steps, from the bottom up; usually none.
    """
    hz = {note: pitch for note, pitch in hz.items() if math.isfinite(pitch)}
    octave = _octave(hz)
    if octave is not None:
        return (octave,)
    played = [note for note in NOTES if note in hz]
    pairs = list(pairwise(played))
    off = [hz_to_cents(hz[b], hz[a]) - (scale.cents(b) - scale.cents(a)) for a, b in pairs]
    found: list[Slip] = []
    told: set[int] = set()
    for i, (below, above) in enumerate(pairs):
        if i in told or abs(off[i]) < SLIP_CENTS:
            continue
        if i + 1 < len(pairs) and abs(off[i + 1]) >= SLIP_CENTS and _side(off[i]) != _side(off[i + 1]):
            # Both steps about one note, one too large and one too small: that note is out.
            found.append(_between(below, above, pairs[i + 1][1], (off[i] - off[i + 1]) / 2))
            told.add(i + 1)
        else:
            found.append(_step(below, above, hz, scale))
    return tuple(found)


def _octave(hz: Mapping[str, float]) -> Slip | None:
    if LOW_A not in hz or HIGH_A not in hz:
        return None
    cents = hz_to_cents(hz[HIGH_A], hz[LOW_A])
    whole = number(abs(cents), 0)
    if cents <= -_ONE_NOTE_CENTS:
        said = f"high A lies {whole} cents below low A: the two may be swapped"
    elif cents < _ONE_NOTE_CENTS:
        said = f"low A and high A are {whole} cents apart, and an octave is 1200: one may stand for the other"
    elif abs(cents - 1200) >= SLIP_CENTS:
        said = (
            f"from low A to high A are {whole} cents, and an octave is 1200: one of them may be another note"
        )
    else:
        return None
    return Slip(notes=(LOW_A, HIGH_A), said=said)


def _between(below: str, note: str, above: str, cents: float) -> Slip:
    return Slip(
        notes=(below, note, above),
        said=f"{note} is {number(abs(cents), 0)} cents too {_side(cents)} between {below} and {above}: "
        "it may be a semitone out, or another note",
    )


def _side(cents: float) -> str:
    """Which way a step or a note is off, by many cents."""
    return "high" if cents > 0 else "low"


def _step(below: str, above: str, hz: Mapping[str, float], scale: Scale) -> Slip:
    cents, wanted = hz_to_cents(hz[above], hz[below]), scale.cents(above) - scale.cents(below)
    if cents < 0:
        said = f"{above} lies {number(-cents, 0)} cents below {below}: the two may be swapped"
    else:
        said = (
            f"from {below} to {above} are {number(cents, 0)} cents, and {number(wanted, 0)} in the "
            f"{scale.name} scale: one of them may be a semitone out, or another note"
        )
    return Slip(notes=(below, above), said=said)
