"""Every page in a real browser: four themes, a narrow screen, axe-core, no error, nothing from elsewhere."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

import pytest

from support.every_page import EVERY_PAGE
from support.loads import times
from support.running_bench import watched_page

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page, StorageState

    from support.running_bench import Bench, Watch

THEMES: Final = ("light", "dark", "dim", "contrast")
#: Each page in one look, in turn, or in two; all pages in all, at three widths: `test_every_look.py`.
IN_TURN: Final = [
    (path, THEMES[(place + 2 * more) % len(THEMES)])
    for place, path in enumerate(EVERY_PAGE)
    for more in range(times(2, usual=1))
]
#: axe-core (MPL-2.0, for tests only), as a package of ours for tests brings it.
AXE: Final = files("axe_playwright_python") / "axe.min.js"


@pytest.fixture(scope="module")
def seen(browser: Browser, season_bench: Bench, season_entry: StorageState) -> Iterator[tuple[Page, Watch]]:
    """One signed-in page for all themes."""
    context = browser.new_context(
        viewport={"width": 360, "height": 800}, reduced_motion="reduce", storage_state=season_entry
    )
    page, watch = watched_page(context, season_bench)
    yield page, watch
    context.close()


@pytest.mark.parametrize(("path", "theme"), IN_TURN)
def test_page(seen: tuple[Page, Watch], season_bench: Bench, path: str, theme: str) -> None:
    page, watch = seen
    watch.clear()
    page.context.add_cookies([{"name": "canebench-theme", "value": theme, "url": season_bench.address}])
    page.goto(season_bench.address + path)
    assert page.evaluate("document.documentElement.dataset.theme") == theme
    assert page.evaluate("document.documentElement.scrollWidth") <= 360, "it scrolls sideways"
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360, "opened, it scrolls sideways"
    assert violations(page) == []
    watch.assert_clean(path)


def test_axe_would_find_something(seen: tuple[Page, Watch], season_bench: Bench) -> None:
    """The control: a field without a label and grey on grey are found."""
    page, _ = seen
    page.goto(season_bench.address + "/")
    page.evaluate(
        """() => {
            const field = document.createElement("input");
            const text = document.createElement("p");
            text.textContent = "hard to read";
            text.style.color = "#999";
            text.style.background = "#aaa";
            document.querySelector("main").append(field, text);
        }"""
    )
    assert {found["id"] for found in violations(page)} >= {"label", "color-contrast"}


def violations(page: Page) -> list[dict[str, Any]]:
    """What axe-core finds, each with the places."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        {"id": one["id"], "where": [node["html"][:200] for node in one["nodes"][:3]]}
        for one in found["violations"]
    ]
