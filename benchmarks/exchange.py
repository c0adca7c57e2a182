"""Files: 100,000 rows in from each form with a bar that is told of them, and a backup there and back."""

from __future__ import annotations

import random
import tempfile
import time
from pathlib import Path

from canebench.bench.acts.upkeep.exchange import bring_in, export, sheets_of
from canebench.store.backups.backup import write_backup
from canebench.store.backups.restore import restore_backup
from canebench.store.backups.verify import verify_backup
from canebench.store.exchange.findings import ImportChoices
from canebench.store.ledger import Ledger, open_ledger
from support.damages import missed

_ROWS = 100_000
_DAMAGES = 10_000
_AT = "2026-03-02T19:00:00.000Z"
_CHOICES = ImportChoices(ids="renumbered", duplicates="skip")


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        full = _filled(folder / "full.db")
        for form in ("csv", "json", "parquet", "xlsx"):
            path = export(full, folder / f"plays.{form}", table="plays")
            _import(folder, path, form)
        _backup(folder, full)


def _filled(path: Path) -> Ledger:
    """A ledger of spells of playing: times, names, numbers with fractions, remarks."""
    chance = random.Random(1)  # noqa: S311
    ledger = open_ledger(str(path))
    with ledger.act("fill", who="A", said="filled") as act:
        player = act.insert("players", {"name": "Isla Penhallow"})
        reed = act.insert("reeds", {"number": "1", "state": "new", "state_since": _AT})
        act.insert_many(
            "plays",
            [
                {
                    "reed_id": reed,
                    "player_id": player,
                    "at": f"2026-03-{1 + n % 28:02}T{n % 24:02}:{n % 60:02}:00.000Z",
                    "minutes": chance.uniform(1, 60),
                    "room_degc": chance.uniform(10, 25),
                    "room_rh": 55.0,
                    "remarks": f"spell {n}, strathspeys" if n % 3 else "",
                }
                for n in range(_ROWS)
            ],
        )
    return ledger


def _import(folder: Path, path: Path, form: str) -> None:
    new = open_ledger(str(folder / f"{form}.db"))
    with new.act("fill", who="A", said="filled") as act:
        act.insert("players", {"name": "Isla Penhallow"})
        act.insert("reeds", {"number": "1", "state": "new", "state_since": _AT})
    told = 0

    def progress(done: int, total: int | None) -> None:
        nonlocal told
        del done, total
        told += 1

    start = time.perf_counter()
    done = bring_in(new, sheets_of(path), _CHOICES, who="A", said="in", progress=progress)
    spent = time.perf_counter() - start
    figure = f"{spent:.1f} s, {done.written} rows, told {told} times"
    _report(f"import of {_ROWS} rows, {form}", figure, "at most 20 s")


def _backup(folder: Path, ledger: Ledger) -> None:
    spent = []
    start = time.perf_counter()
    made = write_backup(ledger.database, None, folder / "backup", at=_AT)
    spent.append(time.perf_counter() - start)
    start = time.perf_counter()
    found = verify_backup(made)
    spent.append(time.perf_counter() - start)
    start = time.perf_counter()
    restore_backup(made, ledger.database, folder / "takes", at=_AT)
    spent.append(time.perf_counter() - start)
    figure = f"{spent[0]:.2f} s, {spent[1]:.2f} s ({len(found)} findings), {spent[2]:.2f} s"
    _report("back up, verify, restore", figure, "-")
    small = open_ledger(str(folder / "small.db"))
    with small.act("fill", who="A", said="filled") as act:
        act.insert("players", {"name": "Isla Penhallow"})
    made = write_backup(small.database, None, folder / "small", at=_AT)
    unseen = missed(made, _DAMAGES, 1, verify_backup)
    _report(f"{_DAMAGES} random damages", f"{_DAMAGES - unseen} found", "all")


def _report(what: str, figure: str, asked: str) -> None:
    print(f"{what:36s} {figure:44s} asked: {asked}", flush=True)


if __name__ == "__main__":
    main()
