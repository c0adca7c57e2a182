"""Seasons of acts on a disk whose power is cut at chance moments, and what is found when it is back."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.store.database import LedgerError
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import ReedRecord
from canebench.store.sqlite import SETTINGS, connect
from support.ledgers import Clock, dump_of, take_in
from support.power_cut_disk import Disk, DiskDatabase

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from canebench.store.tables import Row

_ACTS: Final = 60
#: So many cuts of one season: the files after each, over half a megabyte, wait for the season's end.
_OF_A_SEASON: Final = 500


@dataclass(frozen=True, slots=True)
class Cut:
    """The files after a cut, and how many acts had been acknowledged."""

    files: dict[str, bytes]
    acknowledged: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """Of how many cuts: acknowledged acts lost, something else found than any act left."""

    cuts: int
    lost: int
    corrupt: int


def _season(ledger: Ledger, seed: int) -> Iterator[None]:
    """Acts small and large: new rows, changes, text over many pages, the bin, undo; each seed its own."""
    chance = random.Random(seed)  # noqa: S311
    for number in range(_ACTS):
        kind = number % 6
        if kind in (0, 3):
            take_in(ledger, f"lot{number}", count=1 + number % 4)
        elif kind == 5:
            with ledger.reading() as reader:
                newest = reader.last_act()
            assert newest is not None
            ledger.undo(newest.id, who="Ailsa")
        else:
            with ledger.act("change", who="Ailsa", said=f"{number}") as act:
                reed = chance.choice(act.rows(ReedRecord))
                text = chr(97 + number % 26) * chance.choice([3, 300, 30_000])
                act.update(reed, {"remarks": text})
        yield


def _cut_often(
    empty: bytes, settings: tuple[str, ...], *, cuts: int, keep_open: bool, ordered: bool, seed: int
) -> tuple[list[Cut], list[dict[str, list[Row]]]]:
    """One season with the power cut after so many of its steps; and every state it went through."""
    steps = _run(empty, settings, set(), keep_open=keep_open, season=seed)[2]
    # A short season has fewer steps than cuts: then several cuts fall on one step.
    chance = random.Random(seed)  # noqa: S311
    moments = [chance.randrange(steps) for _ in range(cuts)]
    wanted = {moment: moments.count(moment) for moment in moments}
    found: list[Cut] = []
    rounds = max(wanted.values())
    states: list[dict[str, list[Row]]] = []
    for one in range(rounds):
        at = {moment for moment, times in wanted.items() if times > one}
        made, states, _ = _run(
            empty, settings, at, keep_open=keep_open, season=seed, ordered=ordered, seed=seed + one
        )
        found += made
    return found, states


def _run(
    empty: bytes,
    settings: tuple[str, ...],
    moments: set[int],
    *,
    keep_open: bool,
    season: int,
    ordered: bool = False,
    seed: int = 0,
) -> tuple[list[Cut], list[dict[str, list[Row]]], int]:
    disk = Disk({"ledger.db": empty})
    chance = random.Random(seed)  # noqa: S311
    found: list[Cut] = []
    steps = acknowledged = 0

    def step() -> None:
        nonlocal steps
        if steps in moments:
            after = disk.after_an_ordered_cut if ordered else disk.after_a_cut
            found.append(Cut(after(chance), acknowledged))
        steps += 1

    ledger = Ledger(DiskDatabase(disk, "ledger.db", settings, keep_open=keep_open), clock=Clock())
    states = [dump_of(ledger)]
    disk.after_step = step
    for _ in _season(ledger, season):
        acknowledged += 1
        step()
        disk.after_step = lambda: None
        states.append(dump_of(ledger))
        disk.after_step = step
    return found, states, steps


def _found(cut: Cut, folder: Path) -> dict[str, list[Row]] | None:
    """Everything in the ledger when it is opened after the cut; None where it is damaged."""
    for old in folder.iterdir():
        old.unlink()
    for name, content in cut.files.items():
        if name.startswith("ledger.db"):
            (folder / name).write_bytes(content)
    return dump_if_whole(folder / "ledger.db")


def dump_if_whole(path: Path) -> dict[str, list[Row]] | None:
    """Everything in a ledger's file; None where it is damaged."""
    try:
        with closing(connect(path)) as raw:
            raw.execute("PRAGMA synchronous=OFF")
            whole = raw.execute("PRAGMA integrity_check").fetchall()[0][0] == "ok"
            whole = whole and not raw.execute("PRAGMA foreign_key_check").fetchall()
        return dump_of(open_ledger(str(path))) if whole else None
    except (sqlite3.Error, LedgerError):
        return None


def outcome_of(
    empty: bytes,
    folder: Path,
    settings: tuple[str, ...],
    *,
    cuts: int,
    keep_open: bool = False,
    ordered: bool = False,
    seed: int = 7,
) -> Outcome:
    """What is found after so many cuts, on a disk that keeps the order of writes or not.

    After every 500 cuts another season begins: no more of them are in memory at once, and no two are alike.
    """
    done = lost = corrupt = 0
    while done < cuts:
        some = min(cuts - done, _OF_A_SEASON)
        # Far apart: each round of cuts within a season has its own seed, counted on from the season's.
        own = seed + 1_000 * (done // _OF_A_SEASON)
        made, states = _cut_often(empty, settings, cuts=some, keep_open=keep_open, ordered=ordered, seed=own)
        for cut in made:
            found = _found(cut, folder)
            if found in states[cut.acknowledged : cut.acknowledged + 2]:
                continue
            if found in states:
                lost += 1
            else:
                corrupt += 1
        done += len(made)
    return Outcome(cuts=done, lost=lost, corrupt=corrupt)


def with_synchronous(synchronous: str) -> tuple[str, ...]:
    """The ledger's settings but for one."""
    changed = tuple(f"PRAGMA synchronous={synchronous}" if "synchronous" in one else one for one in SETTINGS)
    assert changed != SETTINGS
    return changed


def logged(settings: tuple[str, ...]) -> tuple[str, ...]:
    """With a log; it needs shared memory, which one who has the file alone does without."""
    return ("PRAGMA locking_mode=EXCLUSIVE", *settings, "PRAGMA journal_mode=WAL")
