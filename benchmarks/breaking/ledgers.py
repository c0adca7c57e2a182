"""Power cut, disk full and clocks that jump, on ledgers in this process."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import apsw

from breaking.line import Line
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import LotRecord
from canebench.store.sqlite import SETTINGS
from support.ledgers import Clock, amiss_of, dump_of, last_act, row_of, take_in
from support.power_cut_disk import Disk, DiskDatabase
from support.power_cuts import outcome_of
from support.traced_cuts import cut_often, traced

if TYPE_CHECKING:
    from pathlib import Path


def _empty(folder: Path) -> bytes:
    open_ledger(str(folder / "empty.db"))
    return (folder / "empty.db").read_bytes()


def _cuts(folder: Path, *, count: int, seed: int, ordered: bool) -> Line:
    work = folder / "work"
    work.mkdir()
    found = outcome_of(_empty(folder), work, SETTINGS, cuts=count, ordered=ordered, seed=seed)
    return Line(
        kind="power-ordered" if ordered else "power",
        count=found.cuts,
        bad={"acts lost": found.lost, "damaged": found.corrupt},
    )


def cuts_any_order(folder: Path, *, count: int, seed: int) -> Line:
    """Power cuts on a disk that keeps, loses or tears each sector that was not synced."""
    return _cuts(folder, count=count, seed=seed, ordered=False)


def cuts_in_order(folder: Path, *, count: int, seed: int) -> Line:
    """Power cuts on a disk that does everything in its order."""
    return _cuts(folder, count=count, seed=seed, ordered=True)


def _cuts_of_files(folder: Path, *, count: int, seed: int, ordered: bool) -> Line:
    found = cut_often(folder, traced(folder), cuts=count, ordered=ordered, seed=seed)
    lost = found.count("act", "ledger lost", "recording", "backup lost", "ledger from before")
    return Line(
        kind="power-files-ordered" if ordered else "power-files",
        count=found.cuts,
        bad={"lost": lost, "damaged": len(found.amiss) - lost},
        seen={"looked at": found.looked_at},
        worst=found.amiss,
    )


def cut_files_any_order(folder: Path, *, count: int, seed: int) -> Line:
    """Power cuts in fits, recordings, backups and restores as they were traced; each thing kept by itself."""
    return _cuts_of_files(folder, count=count, seed=seed, ordered=False)


def cut_files_in_order(folder: Path, *, count: int, seed: int) -> Line:
    """The same on a disk that does everything in its order."""
    return _cuts_of_files(folder, count=count, seed=seed, ordered=True)


def full_disk(folder: Path, *, count: int, seed: int) -> Line:
    """A disk that has room for so many bytes more, in the middle of an act; and the next act with room."""
    empty, chance = _empty(folder), random.Random(seed)  # noqa: S311
    half = refused = 0
    for _ in range(count):
        disk, left = Disk({"ledger.db": empty}), [chance.randrange(200_000)]

        def ask(size: int, left: list[int] = left) -> None:
            left[0] -= size
            if left[0] < 0:
                raise apsw.FullError("full")

        disk.before_write = ask
        ledger = Ledger(DiskDatabase(disk, "ledger.db", SETTINGS), clock=Clock())
        before, done = dump_of(ledger), True
        try:
            take_in(ledger, count=5)
        except apsw.FullError:
            done = False
            refused += 1
        disk.before_write = lambda _: None
        half += not done and dump_of(ledger) != before
        take_in(ledger, "next", count=5)
        half += len(dump_of(ledger)["reeds"]) != (10 if done else 5) or amiss_of(ledger) != []
    return Line(kind="full", count=count, bad={"half acts": half}, seen={"refused": refused})


def clock_jumps(folder: Path, *, count: int, seed: int) -> Line:
    """Acts while the clock jumps by hours and years, forth and back; undone, and the bin emptied."""
    chance, now = random.Random(seed), [datetime(2026, 3, 1, tzinfo=UTC)]  # noqa: S311

    def clock() -> datetime:
        now[0] += timedelta(seconds=chance.choice([1, 3_600, -3_600, 400 * 86_400, -400 * 86_400]))
        now[0] = min(max(now[0], datetime(1980, 1, 1, tzinfo=UTC)), datetime(2090, 1, 1, tzinfo=UTC))
        return now[0]

    ledger = open_ledger(str(folder / "ledger.db"), clock=clock)
    wrong = 0
    for number in range(count):
        lot, _ = take_in(ledger, f"lot {number}")
        if number % 3 == 0:
            ledger.undo(last_act(ledger), who="Ailsa")
            wrong += row_of(ledger, LotRecord, lot).removed_at is None
        if number % 50 == 49:
            ledger.empty_bin(who="Ailsa")
    ids = [act["id"] for act in dump_of(ledger)["acts"]]
    wrong += ids != sorted(set(ids))
    return Line(kind="clock", count=count, bad={"wrong": wrong, "damages": len(amiss_of(ledger))})
