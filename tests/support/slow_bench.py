"""A bench on a slow disk, killed again and again: writers, a reader of pages, what was told to each.

Every act is the minutes of one spell of playing, a number that no other act tells: so one that is lost, or
there twice, can be told apart.
"""

from __future__ import annotations

import http.client
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final

from canebench.store.ledger import open_ledger
from canebench.store.records import PlayRecord
from canebench.store.sqlite import WAIT_S
from support.ledgers import amiss_of, take_in
from support.plain_browser import PlainBrowser
from support.slow_disk import finding_support

if TYPE_CHECKING:
    from collections.abc import Iterator

_CHILD: Final = Path(__file__).parents[1] / "faults" / "slow_child.py"
#: Pages that read much and little.
_PAGES: Final = ("/", "/reeds", "/history", "/reeds/1", "/players")
#: Between one page and the next, s.
_PAUSE_S: Final = 0.05
#: What a page takes besides waiting for a lock, s.
_BESIDES_S: Final = 5.0
#: What a page says that could not be had.
_SENTENCE: Final = "has held it for more than"
_UNKNOWN: Final = "before it said whether this was kept"


@dataclass(frozen=True, slots=True, kw_only=True)
class Speed:
    """A disk's operation takes between so many seconds; a lock is waited for so long."""

    least_s: float
    most_s: float
    wait_s: float = WAIT_S


@dataclass(slots=True)
class Seen:
    """What clients were told: minutes by what became of them, and how long each page took, s."""

    told: dict[int, bool | None] = field(default_factory=dict)
    acts_s: list[float] = field(default_factory=list)
    pages_s: list[float] = field(default_factory=list)
    pages_told: int = 0
    #: Pages that came later than the limit, or failed without a sentence.
    amiss: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Of acts that were told done, so many are not there; of those told refused, so many are; and so on."""

    lost: int
    twice: int
    lies: int
    damages: int
    seen: Seen


@contextmanager
def _served(ledger: Path, speed: Speed, seed: int, how: str) -> Iterator[PlainBrowser]:
    """Killed at the end of the block."""
    told = (speed.least_s, speed.most_s, seed, speed.wait_s, how, ledger)
    command = [sys.executable, str(_CHILD), *map(str, told)]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, start_new_session=True, env=finding_support()
    ) as server:
        assert server.stdout is not None
        try:
            link = next((line.strip() for line in server.stdout if line.startswith("http")), "")
            assert link, "the server did not start"
            yield PlainBrowser(link)
        finally:
            os.killpg(server.pid, signal.SIGKILL)


def outcome_of(
    folder: Path, speed: Speed, *, acts: int, seed: int, how: str = "honest", again: bool = False
) -> Outcome:
    """So many acts by two writers at once while pages are read, the bench killed a few times in between.

    `again` is the control of what counts acts twice: writers that send each a second time.
    """
    ledger, chance, seen = folder / "ledger.db", random.Random(seed), Seen()  # noqa: S311
    take_in(open_ledger(str(ledger)), count=3)
    each, number = 8, 0
    while number < acts:
        numbers = list(range(number, min(number + each, acts)))
        number += len(numbers)
        with _served(ledger, speed, seed + number, how) as client:
            _one_round(client, numbers, seen, speed, chance, again=again, cut=number < acts)
    opened = open_ledger(str(ledger))
    with opened.reading() as reader:
        kept = Counter(round(row.minutes) for row in reader.rows(PlayRecord))
    told = {True: [], False: [], None: []}  # type: dict[bool | None, list[int]]
    for one, how_told in seen.told.items():
        told[how_told].append(one)
    return Outcome(
        lost=sum(kept[one] == 0 for one in told[True]),
        twice=sum(count > 1 for count in kept.values()),
        lies=sum(kept[one] > 0 for one in told[False]),
        damages=len(amiss_of(opened)),
        seen=seen,
    )


def _one_round(
    client: PlainBrowser,
    numbers: list[int],
    seen: Seen,
    speed: Speed,
    chance: random.Random,
    *,
    again: bool,
    cut: bool,
) -> None:
    """Until all is told; or, with `cut`, until a chance moment of the last act."""
    over = threading.Event()
    halves = [numbers[::2], numbers[1::2]]
    writers = [
        threading.Thread(target=_write, args=(client.twin(), half, seen, again), daemon=True)
        for half in halves
    ]
    reader = threading.Thread(target=_read, args=(client.twin(), seen, speed, over), daemon=True)
    for one in (*writers, reader):
        one.start()
    if cut:
        while sum(number in seen.told for number in numbers) < len(numbers) - 2:
            time.sleep(0.01)
        time.sleep(chance.uniform(0, 10 * speed.most_s))
    else:
        for one in writers:
            one.join()
    over.set()
    if not cut:
        reader.join()


def _write(client: PlainBrowser, numbers: list[int], seen: Seen, again: bool) -> None:
    for number in numbers:
        begun = time.monotonic()
        for _ in range(1 + again):
            try:
                status, _, page = client.ask("POST", f"/reeds/{1 + number % 3}/play", {"minutes": number})
                seen.told[number] = None if _UNKNOWN in page else status == 303
                if status != 303 and _SENTENCE not in page:
                    seen.amiss.append(f"act {number}: {status} without a sentence")
            except (OSError, http.client.HTTPException):
                seen.told[number] = None
        seen.acts_s.append(time.monotonic() - begun)


def _read(client: PlainBrowser, seen: Seen, speed: Speed, over: threading.Event) -> None:
    for count in range(1_000_000):
        if over.is_set():
            return
        path, begun = _PAGES[count % len(_PAGES)], time.monotonic()
        try:
            status, _, page = client.ask("GET", path)
        except (OSError, http.client.HTTPException) as error:
            if not over.is_set():
                seen.amiss.append(f"{path}: {type(error).__name__}")
            return
        took_s = time.monotonic() - begun
        seen.pages_s.append(took_s)
        if status != 200:
            seen.pages_told += 1
            if _SENTENCE not in page:
                seen.amiss.append(f"{path}: {status} without a sentence")
        if took_s > speed.wait_s + _BESIDES_S:
            seen.amiss.append(f"{path}: after {took_s:.1f} s")
        time.sleep(_PAUSE_S)
