"""The ledger under load: opening it, pages of many reeds and takes, and several processes that write at once.

Run by `benchmarks/run`. The ledger lies on this machine's disk: acts a second are those of its syncs.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Final

from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import (
    STATES,
    ChanterRecord,
    LotRecord,
    PitchRecord,
    PlayerRecord,
    PlayRecord,
    ReedRecord,
    TakeRecord,
)
from canebench.store.sqlite import connect

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from canebench.store.reader import Reader

_ROOT: Final = Path(__file__).resolve().parents[1]
_WRITER: Final = _ROOT / "tests" / "store" / "writing_process.py"
_REPEATS: Final = 200
_AT: Final = "2026-03-01T12:00:00.000Z"
_CHANTERS: Final = 20
_NOTES: Final = ("low G", "low A", "B", "C", "D", "E", "F", "high G", "high A")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reeds", type=int, default=10_000)
    parser.add_argument("--takes", type=int, default=100_000)
    parser.add_argument("--writers", type=int, default=8)
    parser.add_argument("--acts", type=int, default=2_000)
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ledger.db"
        open_ledger(str(path))
        _report("open a ledger, interpreter and all", f"{_open_s(path):.2f} s of CPU", "at most 0.5 s")
        _fill(path, reeds=wanted.reeds, takes=wanted.takes)
        _fill_people(path)
        size = f"{wanted.reeds} reeds, {wanted.takes} takes: {path.stat().st_size / 1e6:.0f} MB"
        _report("filled ledger", size, "-")
        _report("open it", f"{_open_s(path):.2f} s of CPU", "at most 0.5 s")
        _pages(open_ledger(str(path)), reeds=wanted.reeds, takes=wanted.takes)
        _crowd(Path(folder) / "crowd.db", writers=wanted.writers, acts=wanted.acts)


def _open_s(path: Path) -> float:
    code = f"from canebench.store.ledger import open_ledger; open_ledger({str(path)!r})"
    spent = []
    for _ in range(5):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-c", code], check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        spent.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return statistics.median(spent)


def _fill(path: Path, *, reeds: int, takes: int) -> None:
    """Many years of reeds: each taken in by an act, each take an act with its nine pitches."""
    chance = random.Random(1)  # noqa: S311
    raw = connect(path)
    raw.execute("BEGIN IMMEDIATE")

    def put(table: str, names: str, rows: Sequence[tuple[object, ...]]) -> None:
        marks = ", ".join("?" for _ in rows[0])
        raw.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", rows)  # noqa: S608

    acts = [(number, _AT, "Ailsa", "take", "a take") for number in range(1, reeds + takes + 1)]
    put("acts", "id, at, who, kind, said", acts)
    lots = [(number, 1, f"lot {number}", 100) for number in range(1, reeds // 100 + 2)]
    put("lots", "id, version, name, count", lots)
    states = [chance.choice(STATES) for _ in range(reeds)]
    put(
        "reeds",
        "id, version, number, lot_id, state, state_since",
        [(n, 1, f"{n:06d}", n // 100 + 1, state, _AT) for n, state in enumerate(states, start=1)],
    )
    of_take = [chance.randint(1, reeds) for _ in range(takes)]
    put(
        "takes",
        "id, version, reed_id, at, origin, source, scale, reference, reference_hz",
        [
            (
                n,
                1,
                reed,
                f"20{10 + n % 16}-0{1 + n % 9}-11T12:00:00.000Z",
                "x.wav",
                "recording",
                "just",
                "drones",
                117.5,
            )
            for n, reed in enumerate(of_take, start=1)
        ],
    )
    put(
        "pitches",
        "id, version, take_id, note, hz, sd_hz",
        [
            (9 * n + place, 1, n, note, 400.0 + 50 * place + chance.random(), 0.1)
            for n in range(1, takes + 1)
            for place, note in enumerate(_NOTES)
        ],
    )
    begun = [
        ("reeds", n, {"id": n, "state": state, "state_since": _AT}) for n, state in enumerate(states, start=1)
    ]
    noted = [*begun, *(("takes", n, {"id": n}) for n in range(1, takes + 1))]
    put(
        "changes",
        "act_id, place, in_table, row_id, before, after",
        [(act, 1, table, n, None, json.dumps(after)) for act, (table, n, after) in enumerate(noted, start=1)],
    )
    put(
        "changes",
        "act_id, place, in_table, row_id, before, after",
        [
            (reeds + n, 2 + place, "pitches", 9 * n + place, None, json.dumps({"id": 9 * n + place}))
            for n in range(1, takes + 1)
            for place in range(len(_NOTES))
        ],
    )
    used = {
        "acts": len(acts),
        "reeds": reeds,
        "takes": takes,
        "lots": len(lots),
        "pitches": 9 * takes + 9,
    }
    put("counters", "name, used", list(used.items()))
    raw.execute("COMMIT")
    raw.close()


def _fill_people(path: Path) -> None:
    """Chanters that share the takes, and players of whom the first blew half of all."""
    raw = connect(path)
    raw.execute("BEGIN IMMEDIATE")
    for number in range(1, _CHANTERS + 1):
        for table in ("players", "chanters"):
            raw.execute(
                f"INSERT INTO {table} (id, version, name) VALUES (?, 1, ?)",  # noqa: S608
                (number, f"{number}"),
            )
    raw.execute(
        "UPDATE takes SET chanter_id = 1 + id % ?, "
        "player_id = CASE WHEN id % 2 = 1 THEN 1 ELSE 2 + id / 2 % ? END",
        (_CHANTERS, _CHANTERS - 1),
    )
    raw.execute("COMMIT")
    raw.close()


def _takes_of(reader: Reader, reed: int) -> None:
    for take in reader.rows(TakeRecord, {"reed_id": reed}, order="-at"):
        reader.rows(PitchRecord, {"take_id": take.id})


def _pages(ledger: Ledger, *, reeds: int, takes: int) -> None:
    chance = random.Random(2)  # noqa: S311

    def reed() -> int:
        return chance.randint(1, reeds)

    asked: dict[str, Callable[[Reader], object]] = {
        "reeds of a state, a page of 50": lambda reader: reader.rows(
            ReedRecord,
            {"state": chance.choice(STATES)},
            order="number",
            limit=50,
            offset=50 * chance.randint(0, reeds // 400),
        ),
        "a reed's story": lambda reader: reader.story(ReedRecord, reed()),
        "a chanter's story, a page of 200": lambda reader: reader.story(
            ChanterRecord, chance.randint(2, _CHANTERS), newest=200, skip=200 * chance.randint(0, 3)
        ),
        "the story of who plays half of all": lambda reader: reader.story(PlayerRecord, 1, newest=200),
        "a lot's story, the newest 200": lambda reader: reader.story(
            LotRecord, chance.randint(1, reeds // 100), newest=200
        ),
        "a reed's takes with their pitches": lambda reader: _takes_of(reader, reed()),
        "a reed by its number": lambda reader: reader.find(ReedRecord, "number", f"{reed():06d}"),
        "newest takes, a page of 50": lambda reader: reader.rows(TakeRecord, order="-at", limit=50),
        "history, a page of 50": lambda reader: reader.history(
            limit=50, before=chance.randint(100, reeds + takes)
        ),
    }
    for what, ask in asked.items():
        spent = []
        for _ in range(_REPEATS):
            start = time.perf_counter()
            with ledger.reading() as reader:
                ask(reader)
            spent.append(1e3 * (time.perf_counter() - start))
        p95 = statistics.quantiles(spent, n=20)[-1]
        _report(what, f"median {statistics.median(spent):.1f} ms, p95 {p95:.1f} ms", "p95 at most 50 ms")


def _crowd(path: Path, *, writers: int, acts: int) -> None:
    """Several processes that write as fast as they can: what was lost, who was turned away."""
    ledger = open_ledger(str(path))
    with ledger.act("reed", who="Ailsa", said="x") as act:
        act.insert("reeds", {"number": "1", "state": "new", "state_since": act.at})
    start = time.monotonic()
    crowd = [
        subprocess.Popen(
            [sys.executable, str(_WRITER), str(path), f"writer {number}", str(acts)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        for number in range(writers)
    ]
    said = [one.communicate() for one in crowd]
    spent_s = time.monotonic() - start
    turned_away = sum(one.returncode != 0 for one in crowd)
    longest = max((json.loads(out)[1] for out, _ in said if out), default=float("nan"))
    with ledger.reading() as reader:
        lost = writers * acts - reader.count(PlayRecord)
        behind = writers * acts - int(str(reader.row(ReedRecord, 1).remarks))
    name = f"{writers} processes, {acts} acts each"
    _report(name, f"{lost} lost, {behind} uncounted, {turned_away} turned away", "0, 0, 0")
    _report("", f"{writers * acts / spent_s:.0f} acts/s, longest wait {longest:.1f} s", "-")
    for _, error in said:
        if error:
            sys.stderr.write(error.decode(errors="replace"))


def _report(what: str, figure: str, asked: str) -> None:
    print(f"{what:36s} {figure:44s} asked: {asked}", flush=True)


if __name__ == "__main__":
    main()
