"""Nine standard fingerings of the chanter: which holes are open for which note.

A hole bears the name of the note whose highest open hole it is. Standard fingering, common practice, no
source. Guarded by `tests/practice/test_fingering.py`.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from canebench.base.errors import UnknownNameError
from canebench.base.notes import HIGH_A, HIGH_G, LOW_A, LOW_G, NOTES, B, C, D, E, F

if TYPE_CHECKING:
    from collections.abc import Mapping

#: The eight finger holes from the reed down; the first is the thumb's, at the back.
HOLES: Final[tuple[str, ...]] = (HIGH_A, HIGH_G, F, E, D, C, B, LOW_A)

#: The open holes of each note; the vents below them are never covered.
OPEN_HOLES: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        LOW_G: (),
        LOW_A: (LOW_A,),
        B: (B, LOW_A),
        C: (C, B),
        D: (D, C, B),
        E: (E, LOW_A),
        F: (F, E, LOW_A),
        HIGH_G: (HIGH_G, F, E, LOW_A),
        HIGH_A: (HIGH_A, HIGH_G, F, LOW_A),
    }
)


def notes_through(hole: str) -> tuple[str, ...]:
    """The notes that sound with `hole` open, so that tape on it moves them, the hole's own note first."""
    if hole not in HOLES:
        raise UnknownNameError(field="hole", given=hole, known=HOLES)
    return tuple(note for note in NOTES if hole in OPEN_HOLES[note])
