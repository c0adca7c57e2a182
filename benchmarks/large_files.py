"""Files of up to a million rows at a bench that is served: what comes of each, how long another waits."""

from __future__ import annotations

import re
import tempfile
import time
from html import unescape
from pathlib import Path
from typing import TYPE_CHECKING

from support.large_files import another_reader, csv_of, xlsx_of
from support.plain_browser import PlainBrowser
from support.running_bench import serving

if TYPE_CHECKING:
    from collections.abc import Callable

_PAGES = ("/reeds", "/", "/help")
_WAITING = re.compile(r'name="waiting"\s+value="([0-9a-f]{32})"')


def main() -> None:
    cases: dict[str, Callable[[], bytes]] = {
        "XLSX, 1,000,000 rows": lambda: xlsx_of(1_000_000),
        "XLSX, 1,100,000 shared texts": lambda: xlsx_of(10, texts=1_100_000),
        "XLSX, 290,000 rows": lambda: xlsx_of(290_000),
        "CSV, 300,000 rows": lambda: csv_of(300_000),
        "CSV, 1,000,000 rows": lambda: csv_of(1_000_000),
    }
    with tempfile.TemporaryDirectory() as folder, serving(Path(folder) / "ledger.db") as bench:
        browser = PlainBrowser(bench.link)
        for what, made in cases.items():
            _one(browser, what, made())


def _one(browser: PlainBrowser, what: str, file: bytes) -> None:
    name = f"reeds.{what[:4].lower().strip(',')}"
    begun = time.monotonic()
    with another_reader(browser, *_PAGES) as waits:
        status, _, page = browser.send("/exchange/import", name, file)
    _report(
        f"{what}, {len(file) / 1e6:.0f} MB: look", status, page, time.monotonic() - begun, waits.longest_s
    )
    waiting = _WAITING.search(page)
    if status != 200 or waiting is None:
        return
    begun = time.monotonic()
    with another_reader(browser, *_PAGES) as waits:
        status, _, page = browser.ask("POST", "/exchange/commit", {"waiting": waiting[1]})
    _report("    bring in", status, page, time.monotonic() - begun, waits.longest_s)


def _report(what: str, status: int, page: str, took_s: float, wait_s: float) -> None:
    refusal = re.search(r'role="alert".*?</div>', page, re.DOTALL) if status != 200 else None
    said = " ".join(unescape(re.sub("<[^>]+>", " ", refusal[0].partition(">")[2])).split()) if refusal else ""
    figure = f"{status}, {took_s:.1f} s; another waited {wait_s:.2f} s at most"
    print(f"{what:44s} {figure:56s} asked: < 1 s {said[:160]}", flush=True)


if __name__ == "__main__":
    main()
