"""A served bench at work for as long as asked: pages, acts, takes and streams; nothing of it may grow.

Memory, open files and processes of the server and of those it started are read every few seconds, and how
long a page takes. After a time to warm up, a straight line is laid through each: one that rises by more than
its limit an hour, and more than twice its own uncertainty, fails; one of which so short a run cannot tell is
named. Guarded by `tests/faults/test_soak.py`.
"""

from __future__ import annotations

import asyncio
import json
import os
import random
import re
import statistics
import threading
import time
from contextlib import suppress
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from websockets.asyncio.client import connect

from breaking.line import Line
from canebench.bench.acts.upkeep.demo_season import make_demo
from canebench.sound.synth import Recipe, render, scale_notes
from canebench.store.ledger import open_ledger
from canebench.web.live.streams import HEADER, MARK
from support.ledgers import amiss_of
from support.plain_browser import PlainBrowser
from support.running_bench import Bench, serving

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

#: What each may rise by in an hour.
LIMITS: Final = {"memory MB": 60.0, "open files": 6.0, "processes": 1.0, "page ms": 30.0}
#: The share of the time that a bench warms up in: caches fill, processes start.
_WARM: Final = 0.25
_PAGES: Final = ("/", "/reeds", "/reeds/1", "/players", "/history", "/takes", "/lots", "/care", "/help")
_TAKE: Final = "first-light.ogg"
_RATE_HZ: Final = 48_000
_BLOCK: Final = 3_072
#: How long a stream lasts, and what lies between two of the others, s.
_STREAM_S: Final = 8.0
_EVERY_S: Final = {"pages": 0.25, "acts": 1.0, "takes": 20.0, "streams": 2.0}


@dataclass(slots=True)
class Watched:
    """What was done, what failed, and the readings: when, s, and each figure."""

    done: dict[str, int] = field(default_factory=dict)
    failed: list[str] = field(default_factory=list)
    at_s: list[float] = field(default_factory=list)
    figures: dict[str, list[float]] = field(default_factory=dict)
    page_ms: list[float] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """How much a figure rises in an hour, how sure that is, and where it stood at the end."""

    an_hour: float
    sd: float
    last: float

    def rises(self, limit: float) -> bool:
        """By more than may be, beyond doubt."""
        return self.an_hour > limit and self.an_hour > 2.0 * self.sd

    def is_flat(self, limit: float) -> bool:
        """By no more than may be, beyond doubt; what neither rises nor is flat needs a longer run."""
        return self.an_hour + 2.0 * self.sd <= limit


def slope_of(at_s: Sequence[float], figures: Sequence[float]) -> Slope:
    """A straight line by least squares through what follows the warming up.

    Its uncertainty counts neighbours that go together as one: residuals are taken in ten parts.
    """
    begin = at_s[0] + _WARM * (at_s[-1] - at_s[0])
    kept = [(at / 3_600, figure) for at, figure in zip(at_s, figures, strict=True) if at >= begin]
    hours, values = np.array(kept).T
    centred = hours - hours.mean()
    spread = float(centred @ centred)
    slope = float(centred @ values / spread)
    left = values - values.mean() - slope * centred
    parts = [part.mean() for part in np.array_split(left, 10) if len(part)]
    # The mean of a tenth scatters by so much; ten of them lie evenly over the time.
    scatter = float(np.std(parts, ddof=2)) if len(parts) > 2 else 0.0
    return Slope(an_hour=slope, sd=scatter / float(np.std(centred) * np.sqrt(10)), last=float(values[-1]))


def soak(folder: Path, *, minutes: float, seed: int) -> Line:
    """The invented season served so long."""
    ledger = make_demo(folder / "season")
    watched = Watched(figures={name: [] for name in LIMITS})
    with serving(ledger) as bench:
        _at_work(bench, watched, 60.0 * minutes, seed)
    slopes = {name: slope_of(watched.at_s, watched.figures[name]) for name in LIMITS}
    risen = [name for name, limit in LIMITS.items() if slopes[name].rises(limit)]
    flat = [name for name, limit in LIMITS.items() if slopes[name].is_flat(limit)]
    told = {
        name: f"{one.an_hour:+.1f} ± {one.sd:.1f} an hour (limit {LIMITS[name]:g}), {one.last:.0f} at the end"
        for name, one in slopes.items()
    }
    return Line(
        kind="soak",
        count=round(minutes),
        bad={
            "figures that rise": len(risen),
            "failures": len(watched.failed),
            "damages": len(amiss_of(open_ledger(str(ledger)))),
        },
        seen={
            **watched.done,
            "readings": len(watched.at_s),
            "flat beyond doubt": ", ".join(flat) or "none",
            "not told by so short a run": ", ".join(LIMITS.keys() - {*flat, *risen}) or "none",
        },
        worst=(*(f"{name}: {said}" for name, said in told.items()), *watched.failed[:5]),
    )


def _at_work(bench: Bench, watched: Watched, for_s: float, seed: int) -> None:
    browser, over, chance = PlainBrowser(bench.link), threading.Event(), random.Random(seed)  # noqa: S311
    take = (files("canebench") / "demo" / _TAKE).read_bytes()
    place = _begun(browser)
    sound = _stream_of(seed)

    def page(count: int) -> None:
        begun = time.monotonic()
        status, _, _ = browser.ask("GET", _PAGES[count % len(_PAGES)])
        watched.page_ms.append(1e3 * (time.monotonic() - begun))
        _expect(status == 200, f"{_PAGES[count % len(_PAGES)]}: {status}")

    def act(count: int) -> None:
        del count
        tab, reed = browser.twin(), chance.randint(1, 20)
        status, headers, _ = tab.ask("POST", f"/reeds/{reed}/play", {"minutes": chance.randint(1, 30)})
        _expect(status == 303, f"play: {status}")
        did = re.search(r"did=(\d+)", headers.get("location") or "")
        if did is not None and chance.random() < 0.5:
            status, _, _ = tab.ask("POST", f"/undo/{did[1]}", {})
            _expect(status == 303, f"undo: {status}")

    def measure(count: int) -> None:
        del count
        status, _, _ = browser.twin().send(f"{place}/take", _TAKE, take, how="file", since="nothing")
        _expect(status in (200, 303), f"take: {status}")

    def listen(count: int) -> None:
        del count
        name = asyncio.run(_streamed(bench.address, browser.cookie, sound))
        status, _, _ = browser.twin().ask("POST", f"/recordings/{name}/remove", {})
        _expect(status == 303, f"recording: {status}")

    work: dict[str, Callable[[int], None]] = {"pages": page, "acts": act, "takes": measure, "streams": listen}
    threads = [
        threading.Thread(target=_again, args=(name, call, watched, over), daemon=True)
        for name, call in work.items()
    ]
    for one in threads:
        one.start()
    begun, every_s = time.monotonic(), min(5.0, for_s / 60)
    while time.monotonic() - begun < for_s:
        time.sleep(every_s)
        _read(bench.server.pid, watched, time.monotonic() - begun)
    over.set()
    for one in threads:
        one.join()


def _again(name: str, call: Callable[[int], None], watched: Watched, over: threading.Event) -> None:
    """The same thing over and over."""
    while not over.wait(_EVERY_S[name]):
        try:
            call(watched.done.get(name, 0))
        except (OSError, AssertionError, ValueError) as error:
            watched.failed.append(f"{name}: {type(error).__name__}: {error}"[:200])
        watched.done[name] = watched.done.get(name, 0) + 1


def _expect(so: bool, said: str) -> None:
    if not so:
        raise ValueError(said)


def _begun(browser: PlainBrowser) -> str:
    """A fitting to measure takes in."""
    _, headers, _ = browser.ask("POST", "/fit", {"reed": "soaked", "chanter": "soaked", "insist": "on"})
    found = (headers.get("location") or "").partition("?")[0]
    _expect(found.startswith("/fit/"), f"no fitting was begun: {found}")
    return found


def _stream_of(seed: int) -> list[bytes]:
    """Some seconds of a scale in blocks, as the page sends them."""
    recipe = Recipe(low_a_hz=474.0, notes=scale_notes(duration_s=_STREAM_S / 9), seed=seed)
    samples = np.asarray(render(recipe)[0].samples, dtype="<f4")[: round(_STREAM_S * _RATE_HZ)]
    return [
        HEADER.pack(MARK, 0, start) + samples[start : start + _BLOCK].tobytes()
        for start in range(0, len(samples), _BLOCK)
    ]


async def _streamed(address: str, cookie: str, sound: list[bytes]) -> str:
    """A stream from its first block to its recording's name, as fast as it is played."""
    url = f"{address.replace('http', 'ws')}/live?rate={_RATE_HZ}"
    headers = {"cookie": cookie, "origin": address}
    name = ""
    async with connect(url, additional_headers=headers, compression=None) as socket:

        async def send() -> None:
            for frame in sound:
                await asyncio.sleep(_BLOCK / _RATE_HZ)
                await socket.send(frame)
            await socket.send('{"stop":true}')

        sending = asyncio.create_task(send())
        async for text in socket:
            name = json.loads(text).get("recording") or name
        await sending
    _expect(bool(name), "a stream left no recording")
    return name


def _read(pid: int, watched: Watched, at_s: float) -> None:
    """One reading, where the server still runs."""
    pids = [pid, *_children(pid)]
    pages = watched.page_ms[:]
    if not pages:
        return
    del watched.page_ms[: len(pages)]
    watched.at_s.append(at_s)
    figures = watched.figures
    figures["memory MB"].append(sum(_memory_mb(one) for one in pids))
    figures["open files"].append(float(sum(_open_files(one) for one in pids)))
    figures["processes"].append(float(len(pids)))
    figures["page ms"].append(statistics.median(pages))


def _children(pid: int) -> list[int]:
    found = []
    for status in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            if int(status.read_text().rpartition(")")[2].split()[1]) == pid:
                own = int(status.parent.name)
                found += [own, *_children(own)]
    return found


def _memory_mb(pid: int) -> float:
    """What is its own: shared libraries are not counted for each."""
    with suppress(OSError):
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
            if line.startswith("Private_Dirty:"):
                return float(line.split()[1]) / 1_024
    return 0.0


def _open_files(pid: int) -> int:
    with suppress(OSError):
        return len(os.listdir(f"/proc/{pid}/fd"))  # noqa: PTH208 - names alone
    return 0
