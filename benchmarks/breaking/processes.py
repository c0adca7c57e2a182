"""Processes killed, writing at once and keeping takes at once; a server that is cut off."""

from __future__ import annotations

import random
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256
from pathlib import Path
from typing import Final

from breaking.line import Line
from canebench.store.database import LedgerError, OutcomeUnknownError
from canebench.store.ledger import open_ledger
from canebench.store.recordings import is_whole, keep_recording, recordings_in
from canebench.store.records import PlayerRecord
from support.cut_proxy import Cut, cut_proxy
from support.kills import lost
from support.ledgers import amiss_of, dump_of, take_in
from support.postgres_server import postgres_server

_WRITER: Final = Path(__file__).parents[2] / "tests" / "store" / "writing_process.py"
_CUTS: Final[tuple[Cut, ...]] = ("before", "after", "late", "none")


def kills(folder: Path, *, count: int, seed: int) -> Line:
    """Processes that write acts, each killed at a chance moment."""
    url = str(folder / "ledger.db")
    open_ledger(url)
    gone = lost(url, "honest", count, seed=seed)
    ledger = open_ledger(url)
    acts = len(dump_of(ledger)["acts"])
    return Line(
        kind="kills",
        count=count,
        bad={"acts lost": gone, "damages": len(amiss_of(ledger))},
        seen={"acts": acts},
    )


def two_writers(folder: Path, *, count: int, seed: int) -> Line:
    """Two processes that each read a number and write it back greater by one."""
    del seed
    url, each = str(folder / "ledger.db"), max(count // 2, 1)
    ledger = open_ledger(url)
    take_in(ledger, count=1)
    writers = [
        subprocess.Popen([sys.executable, str(_WRITER), url, name, str(each)], stdout=subprocess.DEVNULL)
        for name in ("Ailsa", "Bram")
    ]
    refused = sum(writer.wait() != 0 for writer in writers)
    dump = dump_of(ledger)
    missing = 2 * each - int(dump["reeds"][0]["remarks"] or 0) + 2 * each - len(dump["plays"])
    bad = {"acts lost": missing, "writers refused": refused, "damages": len(amiss_of(ledger))}
    return Line(kind="writers", count=2 * each, bad=bad)


def takes_at_once(folder: Path, *, count: int, seed: int) -> Line:
    """Recordings kept by eight at once: each must be found under its own digest, with its own sound."""
    takes = folder / "takes"

    def keep(number: int) -> bool:
        sound = f"{seed} {number} ".encode() * 50
        return keep_recording(takes, lambda path: Path(path).write_bytes(sound)) == sha256(sound).hexdigest()  # type: ignore[arg-type]

    with ThreadPoolExecutor(8) as pool:
        swapped = sum(not one for one in pool.map(keep, range(count)))
    kept = recordings_in(takes)
    damaged = sum(not is_whole(path) for path in kept)
    left = len(list(takes.iterdir())) - len(kept)
    bad = {"swapped": swapped, "lost": count - len(kept), "damaged": damaged, "left": left}
    return Line(kind="takes", count=count, bad=bad)


def server_cuts(folder: Path, *, count: int, seed: int) -> Line:
    """Acts on PostgreSQL whose connection is cut around their end: told done, or unchanged, as it is."""
    del folder
    chance, told = random.Random(seed), dict[str, bool | None]()  # noqa: S311
    with postgres_server() as server, cut_proxy(server.folder) as proxy:
        direct = server.new_database()
        open_ledger(direct)
        ledger = open_ledger(proxy.url(direct))
        for number in range(count):
            name = f"player {number}"
            proxy.cut, proxy.away_s = chance.choice(_CUTS), chance.choice([0.0, 0.0, 0.3])
            try:
                with ledger.act("player", who="Ailsa", said=name) as act:
                    act.insert("players", {"name": name})
                told[name] = True
            except OutcomeUnknownError:
                told[name] = None
            except LedgerError:
                told[name] = False
        with open_ledger(direct).reading() as reader:
            kept = [row.name for row in reader.rows(PlayerRecord)]
        damages = len(amiss_of(open_ledger(direct)))
    lies = sum(one is not None and one != (name in kept) for name, one in told.items())
    twice = len(kept) - len(set(kept))
    return Line(
        kind="server",
        count=count,
        bad={"told wrongly": lies, "twice": twice, "damages": damages},
        seen={"cuts": proxy.cuts, "unknown": sum(one is None for one in told.values())},
    )
