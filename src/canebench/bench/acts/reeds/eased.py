"""What the ledger says of a reed's eases: how many pinches in its life, and what was read before one.

Guarded by `tests/doors/test_choose_command.py` and `tests/doors/test_insist.py`.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Final

from canebench.reeds.eases import before_ease
from canebench.store.records import EaseRecord

if TYPE_CHECKING:
    from collections.abc import Iterable

    from canebench.store.reader import Reader

#: Later than anything in a ledger.
NOW: Final = "9999"


def pinches_in_life(reader: Reader, reed_id: int) -> int:
    """How often a reed was pinched, counted by the database."""
    return reader.count(EaseRecord, {"reed_id": reed_id, "how": "pinch"})


def pinches_among(eases: Iterable[EaseRecord]) -> int:
    """How many of these eases were pinches."""
    return sum(ease.how == "pinch" for ease in eases)


def eased_since(eases: Iterable[EaseRecord], at: str, *, until: str = NOW) -> str | None:
    """Whether a reed with these eases was eased after `at`, and before `until`: "before the pinch"."""
    eased = [(datetime.fromisoformat(ease.at), ease.how) for ease in eases if ease.at < until]
    return before_ease(datetime.fromisoformat(at), eased)
