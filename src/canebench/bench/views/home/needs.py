"""One thing that needs somebody today. Guarded by `tests/doors/test_today.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from canebench.store.records import ReedRecord


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """One thing to see to: of which reed, and in which chanter where a fitting goes on; `why` is a clause.

    Where a session of breaking in is due, `minutes` is how long and `player` whose reed it is ("": nobody's).
    """

    kind: Literal["not checked", "rested", "begun", "break in", "pinched out"]
    reed: ReedRecord
    why: str
    chanter_id: int | None = None
    chanter: str = ""
    minutes: float | None = None
    player: str = ""
