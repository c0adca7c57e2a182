"""One reed with all that is known of it, for the command, the card and the page alike.

Guarded by `tests/doors/test_ledger_commands.py` and `tests/web/test_reeds.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from canebench.bench.acts.ledger import reed_numbered
from canebench.bench.acts.reeds.eased import eased_since, pinches_among
from canebench.reeds.eases import said as eases_said
from canebench.store.records import (
    EaseRecord,
    LotRecord,
    MouthTestRecord,
    PlayRecord,
    ReedRecord,
    SettingRecord,
    StrengthRecord,
    TakeRecord,
)

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord, Reader


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedStory:
    """A reed, what it was played and eased, and every reading, test, take, setting and act, oldest first."""

    reed: ReedRecord
    lot: LotRecord | None
    minutes: float
    spells: int
    pinches: int
    eases: list[EaseRecord]
    eases_said: str
    strengths: list[StrengthRecord]
    mouth_tests: list[MouthTestRecord]
    takes: list[TakeRecord]
    settings: list[SettingRecord]
    acts: list[ActRecord]

    def before(self, at: str) -> str | None:
        """Whether what was read at that time was read "before the pinch"."""
        return eased_since(self.eases, at)


def story_numbered(ledger: Ledger, number: str) -> ReedStory:
    """The whole story of the reed with that number on its binding."""
    with ledger.reading() as reader:
        return reed_story(reader, reed_numbered(reader, number))


def reed_story(
    reader: Reader, reed: ReedRecord, *, takes: int | None = None, acts: int | None = None
) -> ReedStory:
    """The story of a reed; with `takes` (and settings) or `acts`, so many of the newest."""
    of_reed = {"reed_id": reed.id}
    eased = reader.rows(EaseRecord, of_reed, order="at")
    pinches = pinches_among(eased)
    return ReedStory(
        reed=reed,
        lot=None if reed.lot_id is None else reader.row(LotRecord, reed.lot_id),
        minutes=reader.sums(PlayRecord, "minutes", "reed_id", [reed.id]).get(reed.id, 0.0),
        spells=reader.count(PlayRecord, of_reed),
        pinches=pinches,
        eases=eased,
        eases_said=eases_said(pinches),
        strengths=reader.rows(StrengthRecord, of_reed, order="at"),
        mouth_tests=reader.rows(MouthTestRecord, of_reed, order="at"),
        takes=reader.rows(TakeRecord, of_reed, order="-at", limit=takes)[::-1],
        settings=reader.rows(SettingRecord, of_reed, order="-at", limit=takes)[::-1],
        acts=reader.story(ReedRecord, reed.id, newest=acts),
    )
