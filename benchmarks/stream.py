"""Listening by the page: real server, streams in real time over WebSockets, one and twenty-five at once.

Latency is from the moment a sample would have been captured to the message that has seen it, beyond the
window that a look reads (stated).
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import statistics
import tempfile
import time
from pathlib import Path
from urllib.request import HTTPCookieProcessor, build_opener

import numpy as np
from websockets.asyncio.client import connect

from canebench.bench.listen import WINDOW_S
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from canebench.web.streams import HEADER, MARK
from support.running_bench import Bench, serving

_BLOCK = 2_048
_RATE_HZ = 48_000
_WARM_S = 4.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--streams", type=int, default=25)
    wanted = parser.parse_args()
    take = _take(wanted.seconds)
    _report("window of a look", f"{1e3 * WINDOW_S:.0f} ms", "stated")
    for count in (1, wanted.streams):
        with tempfile.TemporaryDirectory() as place, serving(Path(place) / "ledger.db") as bench:
            cookie = _sign_in(bench.link)
            found, share = asyncio.run(_watched(bench, cookie, take, count))
        _tell(count, found, share, wanted.seconds)


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


async def _watched(
    bench: Bench, cookie: str, take: list[bytes], count: int
) -> tuple[list[tuple[list[float], int, int]], float]:
    """The streams, and the server's share of a core once its processes have started."""
    crowd = asyncio.create_task(_crowd(bench.address, cookie, take, count))
    await asyncio.sleep(_WARM_S)
    before, began = _cpu_s(bench.server.pid), time.monotonic()
    await asyncio.sleep(len(take) * _BLOCK / _RATE_HZ - _WARM_S - 1.0)
    share = (_cpu_s(bench.server.pid) - before) / (time.monotonic() - began)
    return await crowd, share


async def _crowd(
    address: str, cookie: str, take: list[bytes], count: int
) -> list[tuple[list[float], int, int]]:
    return await asyncio.gather(*(_one(address, cookie, take, 0.37 * n % 1) for n in range(count)))


async def _one(address: str, cookie: str, take: list[bytes], late_s: float) -> tuple[list[float], int, int]:
    """Latencies of the looks after the first seconds, looks left out, and notes in the last beam."""
    await asyncio.sleep(late_s)
    latencies: list[float] = []
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
                skipped = told["skipped"]
            if "beam" in told:
                notes = len(told["beam"]["notes"])
        await sending
    return latencies, skipped, notes


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


def _tell(count: int, found: list[tuple[list[float], int, int]], share: float, seconds: float) -> None:
    latencies = sorted(1e3 * one for latency, _, _ in found for one in latency)
    p50, p95, p99 = (latencies[int(q * (len(latencies) - 1))] for q in (0.5, 0.95, 0.99))
    rate = statistics.mean(len(latency) for latency, _, _ in found) / (seconds - _WARM_S)
    name = "one stream" if count == 1 else f"{count} streams at once"
    asked = "p95 at most 150 ms" if count == 1 else "p99 at most 100 ms"
    _report(f"{name}: sound to message", f"p50 {p50:.0f}, p95 {p95:.0f}, p99 {p99:.0f} ms", asked)
    _report(f"{name}: looks a second", f"{rate:.1f}", "15 or more" if count == 1 else "-")
    _report(f"{name}: share of a core", f"{100 * share:.0f} %", "at most 25 %" if count == 1 else "-")
    skipped, notes = sum(one for _, one, _ in found), min(notes for _, _, notes in found)
    _report(f"{name}: blocks left out of looking", f"{skipped} (said on screen)", "-")
    _report(f"{name}: notes in the beam so far", f"{notes} of 9 at least", "-")


def _report(what: str, figure: str, asked: str) -> None:
    print(f"{what:44s} {figure:38s} asked: {asked}", flush=True)


if __name__ == "__main__":
    main()
