"""Listening by the page: real server, streams in real time over WebSockets, one and twenty-five at once.

Latency is from the moment that the newest sound of a message would have been captured to its coming, beyond
the window that an estimate reads (stated). The oldest sound that is new in a message has waited for a block
longer (64 ms): said beside it, as the delay of any sample.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import statistics
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from urllib.request import HTTPCookieProcessor, build_opener

import numpy as np
from websockets.asyncio.client import connect

from canebench.bench.views.live.listen import WINDOW_S
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from canebench.web.live.streams import HEADER, MARK
from support.running_bench import Bench, serving

#: As the page sends them: 64 ms.
_BLOCK = 3_072
_RATE_HZ = 48_000
_WARM_S = 4.0
#: Asked of the many at once, in nine runs of ten.
_MOST_S = 0.1
#: Samples between one message's sound and the last one's, as shares of what lies between.
_SPREAD = (0.0, 0.25, 0.5, 0.75, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """One stream: latencies of its estimates, delays of their samples, and what it showed."""

    latencies_s: list[float]
    delays_s: list[float]
    skipped: int
    notes: int


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--streams", type=int, default=25)
    parser.add_argument("--runs", type=int, default=1, help="of the many at once, a new server each")
    wanted = parser.parse_args()
    take = _take(wanted.seconds)
    _report("window of an estimate", f"{1e3 * WINDOW_S:.0f} ms", "stated")
    worst_s: list[float] = []
    for count in (1, *[wanted.streams] * wanted.runs):
        with tempfile.TemporaryDirectory() as place, serving(Path(place) / "ledger.db") as bench:
            cookie = _sign_in(bench.link)
            found, share = asyncio.run(_watched(bench, cookie, take, count))
        _tell(count, found, share, wanted.seconds)
        if count > 1:
            worst_s.append(_quantile([latency for one in found for latency in one.latencies_s], 0.99))
    if wanted.runs > 1:
        within = sum(one <= _MOST_S for one in worst_s)
        _report(
            f"{wanted.streams} streams at once: runs within",
            f"{within} of {wanted.runs}, p99 {1e3 * min(worst_s):.0f} to {1e3 * max(worst_s):.0f} ms",
            "9 of 10",
        )


def _take(seconds: float) -> list[bytes]:
    recipe = Recipe(
        low_a_hz=474.0,
        notes=scale_notes(duration_s=seconds / 9),
        seed=1,
        drones=DronePlan(tenor_cents=(2.0, -1.5), wander_cents=0.5),
        wander_cents=3.0,
        snr_db=25.0,
        rt60_s=0.6,
    )
    samples = np.asarray(render(recipe)[0].samples, dtype="<f4")[: round(seconds * _RATE_HZ)]
    return [
        HEADER.pack(MARK, 0, start) + samples[start : start + _BLOCK].tobytes()
        for start in range(0, len(samples), _BLOCK)
    ]


def _sign_in(link: str) -> str:
    cookies = HTTPCookieProcessor()
    with build_opener(cookies).open(link) as answer:
        answer.read()
    return "; ".join(f"{cookie.name}={cookie.value}" for cookie in cookies.cookiejar)


async def _watched(bench: Bench, cookie: str, take: list[bytes], count: int) -> tuple[list[Watched], float]:
    """The streams, and the server's share of a core once its processes have started."""
    crowd = asyncio.create_task(_crowd(bench.address, cookie, take, count))
    await asyncio.sleep(_WARM_S)
    before, began = _cpu_s(bench.server.pid), time.monotonic()
    await asyncio.sleep(len(take) * _BLOCK / _RATE_HZ - _WARM_S - 1.0)
    share = (_cpu_s(bench.server.pid) - before) / (time.monotonic() - began)
    return await crowd, share


async def _crowd(address: str, cookie: str, take: list[bytes], count: int) -> list[Watched]:
    return await asyncio.gather(*(_one(address, cookie, take, 0.37 * n % 1) for n in range(count)))


async def _one(address: str, cookie: str, take: list[bytes], late_s: float) -> Watched:
    """One stream from its first block to its recording."""
    await asyncio.sleep(late_s)
    latencies: list[float] = []
    delays: list[float] = []
    seen_to = 0.0
    skipped = notes = 0
    headers = {"cookie": cookie, "origin": address}
    url = f"{address.replace('http', 'ws')}/live?rate={_RATE_HZ}"
    async with connect(url, additional_headers=headers, compression=None) as socket:
        start = time.monotonic()

        async def send() -> None:
            for n, frame in enumerate(take):
                # A block goes out when its last sample has been captured.
                due = start + (n + 1) * _BLOCK / _RATE_HZ
                await asyncio.sleep(max(0.0, due - time.monotonic()))
                await socket.send(frame)
            await socket.send('{"stop":true}')

        sending = asyncio.create_task(send())
        async for text in socket:
            told = json.loads(text)
            if "at" in told and told["at"] > _WARM_S:
                latencies.append(time.monotonic() - start - told["at"])
                delays += [latencies[-1] + share * (told["at"] - seen_to) for share in _SPREAD]
                skipped = int((told["skippedSaid"] or "0").split()[0])
            seen_to = told.get("at", seen_to)
            if "beam" in told:
                notes = len(told["beam"]["notes"])
        await sending
    return Watched(latencies_s=latencies, delays_s=delays, skipped=skipped, notes=notes)


def _cpu_s(pid: int) -> float:
    """CPU of the server and of the processes it has started, s."""
    ticks = 0
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = status.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(status.parent.name) == pid or int(fields[1]) == pid:
            ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def _tell(count: int, found: list[Watched], share: float, seconds: float) -> None:
    rate = statistics.mean(len(one.latencies_s) for one in found) / (seconds - _WARM_S)
    name = "one stream" if count == 1 else f"{count} streams at once"
    asked = "p95 at most 150 ms" if count == 1 else "p99 at most 100 ms"
    latencies = [latency for one in found for latency in one.latencies_s]
    _report(f"{name}: sound to message", _quantiles(latencies), asked)
    delays = [delay for one in found for delay in one.delays_s]
    _report(f"{name}: any sample to message", _quantiles(delays), asked if count == 1 else "-")
    _report(f"{name}: estimates a second", f"{rate:.1f}", "15 or more" if count == 1 else "-")
    _report(f"{name}: share of a core", f"{100 * share:.0f} %", "at most 25 %" if count == 1 else "-")
    skipped, notes = sum(one.skipped for one in found), [one.notes for one in found]
    _report(f"{name}: blocks left out of estimating", f"{skipped} (said on screen)", "-")
    _report(
        f"{name}: notes in the beam so far",
        f"{statistics.mean(notes):.1f} of 9, {min(notes)} in the worst",
        "-",
    )


def _quantiles(seconds: list[float]) -> str:
    p50, p95, p99 = (1e3 * _quantile(seconds, q) for q in (0.5, 0.95, 0.99))
    return f"p50 {p50:.0f}, p95 {p95:.0f}, p99 {p99:.0f} ms"


def _quantile(seconds: list[float], at: float) -> float:
    return sorted(seconds)[int(at * (len(seconds) - 1))]


def _report(what: str, figure: str, asked: str) -> None:
    print(f"{what:44s} {figure:38s} asked: {asked}", flush=True)


if __name__ == "__main__":
    main()
