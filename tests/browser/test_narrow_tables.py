"""On a telephone no column is cut off; a table whose rows are cards is still a table to those who hear it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import pytest

from support.every_page import EVERY_PAGE
from support.running_bench import watched_page

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page, StorageState

    from support.running_bench import Bench

#: Every table that does not show all its columns at once; those folded away are opened first.
_CUT_OFF: Final = """() => {
    document.querySelectorAll("details").forEach((one) => { one.open = true; });
    const cut = (table) => {
        const frame = table.closest(".table") ?? table.parentElement;
        const right = Math.min(frame.getBoundingClientRect().right, document.documentElement.clientWidth) + 1;
        const cells = [...table.querySelectorAll("th, td")].filter((one) => one.checkVisibility());
        return frame.scrollWidth > frame.clientWidth
            || cells.some((one) => one.getBoundingClientRect().right > right);
    };
    return [...document.querySelectorAll("table")].filter(cut).map((one) => one.innerText.slice(0, 60));
}"""


@pytest.fixture(scope="module")
def narrow(browser: Browser, season_bench: Bench, season_entry: StorageState) -> Iterator[Page]:
    """A signed-in page of a telephone's width."""
    context = browser.new_context(viewport={"width": 390, "height": 844}, storage_state=season_entry)
    page, _ = watched_page(context, season_bench)
    yield page
    context.close()


@pytest.mark.parametrize("path", EVERY_PAGE)
def test_no_table_is_wider_than_its_frame(narrow: Page, season_bench: Bench, path: str) -> None:
    answer = narrow.goto(season_bench.address + path)
    assert answer is not None
    assert answer.ok
    assert narrow.evaluate(_CUT_OFF) == []


def test_a_table_that_is_cut_off_is_noticed(narrow: Page, season_bench: Bench) -> None:
    """Control: the same page, its rows no cards."""
    narrow.goto(season_bench.address + "/choose?player=Isla%20Penhallow")
    assert narrow.locator("table.cards").count() == 1
    narrow.evaluate("document.querySelector('table.cards').classList.remove('cards')")
    assert len(narrow.evaluate(_CUT_OFF)) == 1


def test_cards_say_what_each_figure_is_and_stay_a_table(narrow: Page, season_bench: Bench) -> None:
    """Seen: the column's name before each figure. Heard: a table with headers, rows and cells."""
    narrow.goto(season_bench.address + "/choose?player=Isla%20Penhallow")
    cell = narrow.locator(".cards td[data-label=Why]").first
    assert _before(cell.element_handle()) == '"Why"'
    rows = narrow.get_by_role("table").get_by_role("row")
    assert rows.first.get_by_role("columnheader").all_inner_texts()[1:3] == ["Verdict", "Why"]
    assert rows.nth(1).get_by_role("rowheader").count() == 1
    assert rows.nth(1).get_by_role("cell").count() == 4
    narrow.set_viewport_size({"width": 1024, "height": 768})
    assert _before(cell.element_handle()) == "none"
    narrow.set_viewport_size({"width": 390, "height": 844})


def _before(element: Any) -> str:
    found: str = element.evaluate("(one) => getComputedStyle(one, '::before').content")
    return found
