"""In a wide window first comes what a page is of: a reed's state and beam, a take's notes, a lot's sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import pytest

from support.running_bench import watched_page

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page, StorageState

    from support.running_bench import Bench

_HEIGHT: Final = 900


@pytest.fixture(scope="module")
def wide(browser: Browser, season_bench: Bench, season_entry: StorageState) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 1440, "height": _HEIGHT}, storage_state=season_entry)
    page, _ = watched_page(context, season_bench)
    yield page
    context.close()


def _box(page: Page, selector: str) -> dict[str, Any]:
    found = page.locator(selector).first.bounding_box()
    assert found is not None, selector
    return dict(found)


def _reed_amiss(page: Page) -> list[str]:
    """What stands before the state and the beam of a reed."""
    sizes = "(all) => all.map((one) => parseFloat(getComputedStyle(one).fontSize))"
    state = page.locator(".state-now strong").evaluate_all(sizes)[0]
    beam, facts, move = (
        _box(page, one) for one in (".shown .beam svg", "#facts-title + dl", "[aria-labelledby=move-title]")
    )
    return [
        said
        for said, amiss in (
            ("a heading is as large as the state", state <= max(page.locator("h2").evaluate_all(sizes))),
            ("the beam is not all to be seen", beam["y"] + beam["height"] > _HEIGHT),
            ("the beam is no larger than the facts", beam["width"] <= facts["width"]),
            ("moving stands over the facts' end", move["y"] < facts["y"] + facts["height"]),
        )
        if amiss
    ]


def test_a_reed_shows_its_state_and_beam_first(wide: Page, season_bench: Bench) -> None:
    wide.goto(season_bench.address + "/reeds/1")
    assert _reed_amiss(wide) == []


def test_a_reed_that_shows_them_late_is_noticed(wide: Page, season_bench: Bench) -> None:
    """Control: the state in small letters, the beam after the facts and narrow, moving over them."""
    wide.goto(season_bench.address + "/reeds/1")
    wide.evaluate(
        """() => {
            const style = (selector, told) => {
                Object.assign(document.querySelector(selector).style, told);
            };
            style(".state-now strong", { fontSize: "1rem" });
            style(".shown", { width: "20rem", marginTop: "900px" });
            style("main", { display: "flex", flexDirection: "column" });
            style(".columns:has([aria-labelledby=move-title])", { order: -1 });
        }"""
    )
    assert len(_reed_amiss(wide)) == 4


def test_a_take_shows_its_notes_beside_its_beam(wide: Page, season_bench: Bench) -> None:
    wide.goto(season_bench.address + "/takes/1")
    beam, notes = _box(wide, ".shown"), _box(wide, ".table.notes")
    assert notes["x"] >= beam["x"] + beam["width"]
    assert notes["y"] + notes["height"] < _HEIGHT
    assert beam["width"] > notes["width"]


def test_a_lot_shows_its_sheet_first(wide: Page, season_bench: Bench) -> None:
    """Five reeds at least stand over the bar; what to take care of is named over them, and unfolds."""
    wide.goto(season_bench.address + "/lots/1")
    bar = _box(wide, ".grading-bar")["y"]
    rows = wide.locator(".grading tbody")
    seen = [rows.nth(index).bounding_box() for index in range(rows.count())]
    assert sum(1 for one in seen if one is not None and one["y"] + one["height"] <= bar) >= 5
    care = wide.locator(".grading-care")
    assert "blades, blowing, mouths" in care.locator("summary").inner_text()
    assert not care.locator("li").first.is_visible()
    care.locator("summary").click()
    assert care.locator("li").first.is_visible()
