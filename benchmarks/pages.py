"""The pages on a ledger of many years: how long each takes, its HTML included.

Run by `benchmarks/run`. Each address is asked for as a browser would ask, through every guard. On
a machine that does other work too, the time of the processor alone is the figure to look at.
"""

from __future__ import annotations

import argparse
import random
import statistics
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Final

from canebench.base.scales import scale_named
from canebench.store.ledger import open_ledger
from canebench.store.records import STATES
from canebench.store.sqlite import connect
from canebench.web.app import create_app
from canebench.web.context import open_context
from canebench.web.security.sign_in import SignIn
from canebench.web.serve import keep_what_stands
from ledger import _AT, _fill, _report
from support.web_client import HOST, PORT, signed_in

if TYPE_CHECKING:
    from collections.abc import Callable

_REPEATS: Final = 100
_PLAYERS: Final = 100
#: Reeds that are planned for together.
_BROKEN_IN: Final = 12
#: Readings of strength, spells of playing and pinches to each reed.
_STRENGTHS, _PLAYS, _PINCHES = 3, 10, 1


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reeds", type=int, default=10_000)
    parser.add_argument("--takes", type=int, default=100_000)
    parser.add_argument("--keep", type=Path, help="where to leave the ledger, to look at it")
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = (wanted.keep or Path(folder)) / "ledger.db"
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            open_ledger(str(path))
            _fill(path, reeds=wanted.reeds, takes=wanted.takes)
            _fill_days(path, reeds=wanted.reeds)
        _pages(path, reeds=wanted.reeds, takes=wanted.takes)


def _fill_days(path: Path, *, reeds: int) -> None:
    """What happened to the reeds from day to day, and whose they are."""
    chance = random.Random(3)  # noqa: S311
    raw = connect(path)
    raw.execute("BEGIN IMMEDIATE")

    def put(table: str, names: str, rows: list[tuple[object, ...]]) -> None:
        marks = ", ".join("?" for _ in rows[0])
        raw.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", rows)  # noqa: S608
        raw.execute("INSERT INTO counters (name, used) VALUES (?, ?)", (table, len(rows)))

    put(
        "players",
        "id, version, name, blows_kpa, ceiling_kpa",
        [(n, 1, f"player {n}", 6.0 + n / 100, 8.5) for n in range(1, _PLAYERS + 1)],
    )
    put(
        "chanters",
        "id, version, name, player_id",
        [(n, 1, f"chanter {n}", n) for n in range(1, _PLAYERS + 1)],
    )
    raw.execute("UPDATE reeds SET player_id = 1 + id % 100, chanter_id = 1 + id % 100 WHERE state != 'new'")
    raw.execute("UPDATE takes SET chanter_id = 1 + reed_id % 100, scale = 'harmonic', reference = 'fixed'")
    # Pitches of a reed in tune within some 30 cents, so that every take has a balance.
    ratios = scale_named("harmonic").ratios
    for note, ratio in ratios.items():
        raw.execute(
            "UPDATE pitches SET hz = ? * (1 + (id % 31 - 15) / 1000.0), repeat_sd_cents = 1.5 WHERE note = ?",
            (475.0 * ratio, note),
        )
    raw.execute("UPDATE takes SET reference_hz = 475.0, reference_sd_hz = 0.1")
    of_reed = [reed for reed in range(1, reeds + 1) for _ in range(_STRENGTHS)]
    put(
        "strengths",
        "id, version, reed_id, at, playing_kpa, playing_sd_kpa",
        [(n, 1, reed, _AT, chance.uniform(5.0, 9.0), 0.12) for n, reed in enumerate(of_reed, start=1)],
    )
    of_reed = [reed for reed in range(1, reeds + 1) for _ in range(_PLAYS)]
    put(
        "plays",
        "id, version, reed_id, at, minutes",
        [(n, 1, reed, _AT, 20.0) for n, reed in enumerate(of_reed, start=1)],
    )
    of_reed = [reed for reed in range(1, reeds + 1) for _ in range(_PINCHES)]
    put(
        "eases",
        "id, version, reed_id, at, how",
        [(n, 1, reed, _AT, "pinch") for n, reed in enumerate(of_reed, start=1)],
    )
    raw.execute("COMMIT")
    raw.close()


def _pages(path: Path, *, reeds: int, takes: int) -> None:
    chance = random.Random(4)  # noqa: S311
    entry = SignIn(PORT)
    app = create_app(open_context(str(path), "Ailsa"), entry, hosts=[HOST])
    addresses: dict[str, Callable[[], str]] = {
        "reeds, any page": lambda: f"/reeds?page={chance.randint(1, reeds // 100)}",
        "reeds of a state": lambda: f"/reeds?state={chance.choice(STATES)}&page={chance.randint(1, 10)}",
        "reeds of a lot": lambda: f"/reeds?lot=lot+{chance.randint(1, reeds // 100)}",
        "a lot's grading sheet": lambda: f"/lots/{chance.randint(1, reeds // 100)}",
        "lots to grade": lambda: "/lots",
        "reeds of a player": lambda: f"/reeds?player=player+{chance.randint(1, _PLAYERS)}",
        "reeds found": lambda: f"/reeds?search={chance.randint(100, 999)}",
        "reeds, newest first": lambda: f"/reeds?order=newest&page={chance.randint(1, reeds // 100)}",
        "one reed": lambda: f"/reeds/{chance.randint(1, reeds)}",
        "choose, of a lot": lambda: (
            f"/choose?player=player+{chance.randint(1, 100)}&lot=lot+{chance.randint(1, 99)}"
        ),
        "choose, of all": lambda: f"/choose?player=player+{chance.randint(1, 100)}",
        "who plays which": lambda: "/spares",
        "one reed ahead": lambda: f"/reeds/{chance.randint(1, reeds)}/ahead",
        "a lot's worth": lambda: f"/lots/{chance.randint(1, reeds // 100)}/worth",
        "break in by weeks": lambda: f"/calendar?reed={','.join(_some_reeds(chance, reeds))}",
        "how often forecasts held": lambda: "/ahead/kept",
        "players": lambda: "/players",
        "one player": lambda: f"/players/{chance.randint(1, _PLAYERS)}",
        "start": lambda: "/",
        "a fitting": lambda: _fitting(chance.randint(1, reeds)),
        "chanters": lambda: "/chanters",
        "one chanter": lambda: f"/chanters/{chance.randint(1, _PLAYERS)}",
        "takes, any page": lambda: f"/takes?page={chance.randint(1, takes // 100)}",
        "one take": lambda: f"/takes/{chance.randint(1, takes)}",
        "care": lambda: "/care",
        "exchange": lambda: "/exchange",
        "history": lambda: "/history",
    }
    with signed_in(app, entry) as client:
        keep_what_stands()
        for what, address in addresses.items():
            spent, worked, size = [], [], 0
            for _ in range(_REPEATS):
                asked = address()
                start, cpu = time.perf_counter(), time.process_time()
                answer = client.get(asked)
                spent.append(1e3 * (time.perf_counter() - start))
                worked.append(1e3 * (time.process_time() - cpu))
                if answer.status_code != 200:
                    raise SystemExit(f"{asked} was answered with {answer.status_code}")
                size = max(size, len(answer.content))
            wall, own = (f"{statistics.quantiles(times, n=20)[-1]:.0f} ms" for times in (spent, worked))
            figure = f"p95 {wall}, {own} of CPU; {size / 1000:.0f} kB"
            _report(what, figure, "p95 at most 80 ms")


def _some_reeds(chance: random.Random, reeds: int) -> list[str]:
    """As many as a band breaks in at once: thousands are open in this ledger, more than any plan may have."""
    first = chance.randint(1, reeds - _BROKEN_IN)
    return [f"{number:06d}" for number in range(first, first + _BROKEN_IN)]


def _fitting(reed: int) -> str:
    """A reed in the chanter that its takes were played in."""
    return f"/fit/{reed}/{1 + reed % 100}"


if __name__ == "__main__":
    main()
