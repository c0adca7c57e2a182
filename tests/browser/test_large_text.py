"""Large text: no page scrolls sideways at three widths, and each is arranged by its text too."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import pytest

from browser.test_pages import violations
from support.every_page import EVERY_PAGE
from support.running_bench import watched_page

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page, StorageState

    from support.running_bench import Bench

#: What is chosen, and the height of plain text then, in pixels.
SIZES: Final = {"normal": 16, "large": 20, "largest": 24}
#: At which widths every page is looked at, pixels, in the text that asks most; normal text: `test_pages.py`.
WIDTHS: Final = {"largest": (360, 768, 1440)}
#: Where axe-core reads a page too.
READ: Final = ("largest", 360)
_SCROLLS: Final = "document.documentElement.scrollWidth > document.documentElement.clientWidth"


@pytest.fixture(scope="module")
def sized(browser: Browser, season_bench: Bench, season_entry: StorageState) -> Iterator[Page]:
    context = browser.new_context(reduced_motion="reduce", storage_state=season_entry)
    page, _ = watched_page(context, season_bench)
    yield page
    context.close()


def _open(page: Page, bench: Bench, path: str, size: str, width: int) -> None:
    page.context.add_cookies([{"name": "canebench-text", "value": size, "url": bench.address}])
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(bench.address + path)
    assert page.evaluate("parseFloat(getComputedStyle(document.documentElement).fontSize)") == SIZES[size]


@pytest.mark.parametrize("size", WIDTHS)
@pytest.mark.parametrize("path", EVERY_PAGE)
def test_no_page_scrolls_sideways(sized: Page, season_bench: Bench, path: str, size: str) -> None:
    for width in WIDTHS[size]:
        _open(sized, season_bench, path, size, width)
        assert not sized.evaluate(_SCROLLS), width
        sized.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        assert not sized.evaluate(_SCROLLS), f"{width}, opened"
        if (size, width) == READ:
            assert violations(sized) == [], width


def test_a_page_that_scrolls_sideways_is_noticed(sized: Page, season_bench: Bench) -> None:
    """Control: a box that fits at normal size and not at the largest."""
    found = []
    for size in SIZES:
        _open(sized, season_bench, "/care", size, 360)
        sized.evaluate(
            """() => {
                const box = document.createElement("div");
                Object.assign(box.style, { width: "20rem", height: "1rem" });
                document.querySelector("main").append(box);
            }"""
        )
        found.append(sized.evaluate(_SCROLLS))
    assert found == [False, True, True]


def test_the_page_is_arranged_by_its_text(sized: Page, season_bench: Bench) -> None:
    """At 768 pixels a list is a table in normal text and cards in the largest; so with columns at 1024."""
    display = "(one) => getComputedStyle(one).display"
    columns = "(one) => getComputedStyle(one).gridTemplateColumns.split(' ').length"
    found = []
    for size in ("normal", "largest"):
        _open(sized, season_bench, "/reeds", size, 768)
        row = sized.locator(".cards tbody tr").first.evaluate(display)
        _open(sized, season_bench, "/reeds/1", size, 1024)
        found.append((row, sized.locator(".columns").first.evaluate(columns)))
    assert found == [("table-row", 2), ("block", 1)]


def test_the_size_is_chosen_in_the_footer_and_stays(sized: Page, season_bench: Bench) -> None:
    _open(sized, season_bench, "/reeds?order=number", "normal", 1440)
    sized.get_by_label("Text", exact=True).select_option("Largest")
    sized.locator("footer").get_by_role("button", name="Change").click()
    sized.wait_for_url("**/reeds?order=number")
    assert sized.evaluate("document.documentElement.dataset.text") == "largest"
    sized.goto(season_bench.address + "/care")
    assert sized.get_by_label("Text", exact=True).input_value() == "largest"
