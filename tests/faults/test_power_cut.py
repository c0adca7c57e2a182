"""The power is cut at any moment: when it is back, every acknowledged act is there and no other half there.

A killed process proves nothing of this: what it had written is still in the machine's memory. Here the
ledger's own SQL, with the ledger's own settings, runs on a disk that loses what was not synced.
"""

from __future__ import annotations

import random
import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import pytest

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

_CUTS: Final = 420
_CONTROL_CUTS: Final = 200
_ACTS: Final = 60


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


def _season(ledger: Ledger) -> Iterator[None]:
    """Acts small and large: new rows, changes, text over many pages, the bin, undo."""
    chance = random.Random(5)  # noqa: S311
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


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of an empty ledger."""
    path = tmp_path_factory.mktemp("empty") / "ledger.db"
    open_ledger(str(path))
    return path.read_bytes()


def _cut_often(
    empty: bytes, settings: tuple[str, ...], *, cuts: int, keep_open: bool
) -> tuple[list[Cut], list[dict[str, list[Row]]]]:
    """One season with the power cut after so many of its steps; and every state it went through."""
    steps = _run(empty, settings, set(), keep_open=keep_open)[2]
    # A short season has fewer steps than cuts: then several cuts fall on one step.
    chance = random.Random(7)  # noqa: S311
    moments = [chance.randrange(steps) for _ in range(cuts)]
    wanted = {moment: moments.count(moment) for moment in moments}
    found: list[Cut] = []
    rounds = max(wanted.values())
    states: list[dict[str, list[Row]]] = []
    for one in range(rounds):
        at = {moment for moment, times in wanted.items() if times > one}
        made, states, _ = _run(empty, settings, at, keep_open=keep_open, seed=one)
        found += made
    return found, states


def _run(
    empty: bytes, settings: tuple[str, ...], moments: set[int], *, keep_open: bool, seed: int = 0
) -> tuple[list[Cut], list[dict[str, list[Row]]], int]:
    disk = Disk({"ledger.db": empty})
    chance = random.Random(seed)  # noqa: S311
    found: list[Cut] = []
    steps = acknowledged = 0

    def step() -> None:
        nonlocal steps
        if steps in moments:
            found.append(Cut(disk.after_a_cut(chance), acknowledged))
        steps += 1

    ledger = Ledger(DiskDatabase(disk, "ledger.db", settings, keep_open=keep_open), clock=Clock())
    states = [dump_of(ledger)]
    disk.after_step = step
    for _ in _season(ledger):
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
    path = folder / "ledger.db"
    try:
        raw = connect(path)
        raw.execute("PRAGMA synchronous=OFF")
        try:
            whole = raw.execute("PRAGMA integrity_check").fetchall()[0][0] == "ok"
            whole = whole and not raw.execute("PRAGMA foreign_key_check").fetchall()
        finally:
            raw.close()
        return dump_of(open_ledger(str(path))) if whole else None
    except (sqlite3.Error, LedgerError):
        return None


def _outcome(
    empty: bytes, folder: Path, settings: tuple[str, ...], *, cuts: int, keep_open: bool = False
) -> Outcome:
    made, states = _cut_often(empty, settings, cuts=cuts, keep_open=keep_open)
    lost = corrupt = 0
    for cut in made:
        found = _found(cut, folder)
        if found in states[cut.acknowledged : cut.acknowledged + 2]:
            continue
        if found in states:
            lost += 1
        else:
            corrupt += 1
    return Outcome(cuts=len(made), lost=lost, corrupt=corrupt)


def _with(synchronous: str) -> tuple[str, ...]:
    """The ledger's settings but for one."""
    changed = tuple(f"PRAGMA synchronous={synchronous}" if "synchronous" in one else one for one in SETTINGS)
    assert changed != SETTINGS
    return changed


def _logged(settings: tuple[str, ...]) -> tuple[str, ...]:
    """With a log; it needs shared memory, which one who has the file alone does without."""
    return ("PRAGMA locking_mode=EXCLUSIVE", *settings, "PRAGMA journal_mode=WAL")


def test_a_power_cut_loses_nothing(empty: bytes, tmp_path: Path) -> None:
    """With the rollback journal, a connection for each act, as the ledger does."""
    outcome = _outcome(empty, tmp_path, SETTINGS, cuts=_CUTS)
    assert outcome == Outcome(cuts=_CUTS, lost=0, corrupt=0)


@pytest.mark.parametrize("keep_open", [False, True])
def test_a_power_cut_loses_nothing_with_a_log(empty: bytes, tmp_path: Path, keep_open: bool) -> None:
    """With the write-ahead log of a newer SQLite, closed after each act or kept open by others."""
    outcome = _outcome(empty, tmp_path, _logged(SETTINGS), cuts=_CUTS, keep_open=keep_open)
    assert outcome == Outcome(cuts=_CUTS, lost=0, corrupt=0)


@pytest.mark.parametrize("synchronous", ["FULL", "NORMAL"])
def test_control_the_lesser_settings_lose_acts(empty: bytes, tmp_path: Path, synchronous: str) -> None:
    """A deleted journal that comes back takes the act with it: neither setting syncs its folder."""
    assert _outcome(empty, tmp_path, _with(synchronous), cuts=_CONTROL_CUTS).lost > 0


def test_control_a_log_that_is_not_synced_loses_acts(empty: bytes, tmp_path: Path) -> None:
    settings = _logged(_with("NORMAL"))
    assert _outcome(empty, tmp_path, settings, cuts=_CONTROL_CUTS, keep_open=True).lost > 0


def test_control_without_any_sync_the_ledger_is_damaged(empty: bytes, tmp_path: Path) -> None:
    assert _outcome(empty, tmp_path, _with("OFF"), cuts=_CONTROL_CUTS).corrupt > 0
