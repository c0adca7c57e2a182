"""What the ledger says of a reed's eases: how many pinches in its life, and what was read before one.

Guarded by `tests/doors/test_choose_command.py` and `tests/doors/test_insist.py`.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Final

from canebench.reeds import eases as rule
from canebench.reeds.eases import before_ease
from canebench.store.records import EaseRecord

if TYPE_CHECKING:
    from collections.abc import Iterable

    from canebench.store.reader import Reader
    from canebench.store.writer import Writer

#: Later than anything in a ledger.
NOW: Final = "9999"


def pinches_in_life(reader: Reader, reed_id: int) -> int:
    """How often a reed was pinched, counted by the database."""
    return reader.count(EaseRecord, {"reed_id": reed_id, "how": "pinch"})


def check_pinch(reader: Reader, reed_id: int, *, insist: bool) -> str:
    """What an act adds where a pinch past the most is insisted on; an error where nobody insists."""
    pinches = pinches_in_life(reader, reed_id)
    rule.check_pinch(pinches, insisted=insist)
    return "" if rule.left(pinches) else f", insisted: pinch {pinches + 1} of {rule.MOST}"


def write_pinch(act: Writer, reed_id: int, *, insist: bool, remarks: str | None = None) -> None:
    """A pinch, counted for life; checked within the act, where nobody else can pinch in between."""
    note = check_pinch(act, reed_id, insist=insist)
    told = "; ".join(part for part in (note.removeprefix(", "), remarks) if part)
    act.insert("eases", {"reed_id": reed_id, "at": act.at, "how": "pinch", "remarks": told or None})


def pinches_among(eases: Iterable[EaseRecord]) -> int:
    """How many of these eases were pinches."""
    return sum(ease.how == "pinch" for ease in eases)


def eased_since(eases: Iterable[EaseRecord], at: str, *, until: str = NOW) -> str | None:
    """Whether a reed with these eases was eased after `at`, and before `until`: "before the pinch"."""
    eased = [(datetime.fromisoformat(ease.at), ease.how) for ease in eases if ease.at < until]
    return before_ease(datetime.fromisoformat(at), eased)
