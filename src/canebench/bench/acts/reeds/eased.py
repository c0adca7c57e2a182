"""What the ledger says of a reed's eases: how many pinches in its life, and what was read before one.

Guarded by `tests/doors/test_choose_command.py` and `tests/doors/test_insist.py`.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Final, NamedTuple

from canebench.reeds import eases as rule
from canebench.reeds.eases import before_ease
from canebench.store.records import EaseRecord

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

    from canebench.store.reader import Among, Reader
    from canebench.store.writer import Writer

#: Later than anything in a ledger.
NOW: Final = "9999"


class Ease(NamedTuple):
    """What of a row of `EaseRecord` tells how strong a reed is."""

    at: str
    how: str


def eases_by_reed(reader: Reader, reed_ids: Collection[int]) -> dict[int, list[Ease]]:
    """By the reed's row, oldest first; one that was never eased has an empty list."""
    found: dict[int, list[Ease]] = {reed_id: [] for reed_id in reed_ids}
    among: Among = ("reed_id", list(found), True)
    for reed_id, at, how in reader.columns(EaseRecord, ("reed_id", "at", "how"), among=[among], order="at"):
        found[reed_id].append(Ease(at, how))
    return found


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


def pinches_among(eases: Iterable[Ease | EaseRecord]) -> int:
    """How many of these eases were pinches."""
    return sum(ease.how == "pinch" for ease in eases)


def eased_since(eases: Iterable[Ease | EaseRecord], at: str, *, until: str = NOW) -> str | None:
    """Whether a reed with these eases was eased after `at`, and before `until`: "before the pinch"."""
    # As the ledger writes times they sort as text: most reeds need no more than that.
    later = [(datetime.fromisoformat(ease.at), ease.how) for ease in eases if at < ease.at < until]
    return before_ease(datetime.fromisoformat(at), later) if later else None
