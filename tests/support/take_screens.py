"""Screenshots of every page of the invented season: `scripts/screens`."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any, Final

from playwright.sync_api import sync_playwright

from canebench.bench.acts.upkeep.demo_season import make_demo
from support.every_page import EVERY_PAGE
from support.running_bench import launched, serving, signed_in_page

WIDTHS: Final = (360, 768, 1440)
THEMES: Final = ("light", "dark", "dim", "contrast")


def take_screens(folder: Path, *, themes: tuple[str, ...] = THEMES[:2]) -> int:
    """One PNG for each page, width and theme; how many."""
    folder.mkdir(parents=True, exist_ok=True)
    options: Any = launched()
    count = 0
    with tempfile.TemporaryDirectory() as place, sync_playwright() as running:
        ledger = make_demo(Path(place) / "demo")
        with serving(ledger) as bench:
            browser = running.chromium.launch(**options)
            context = browser.new_context()
            page, watch = signed_in_page(context, bench)
            for theme in themes:
                context.add_cookies([{"name": "canebench-theme", "value": theme, "url": bench.address}])
                for width in WIDTHS:
                    page.set_viewport_size({"width": width, "height": 900})
                    for path in EVERY_PAGE:
                        page.goto(bench.address + path)
                        name = path.strip("/").replace("/", "-").replace("?", "-") or "start"
                        page.screenshot(path=folder / f"{name}-{width}-{theme}.png", full_page=True)
                        count += 1
            watch.assert_clean()
            browser.close()
    return count


if __name__ == "__main__":
    print(f"{take_screens(Path(sys.argv[1]))} screenshots in {sys.argv[1]}")  # noqa: T201
