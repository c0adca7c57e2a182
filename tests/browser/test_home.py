"""The first page in a real browser: from an empty ledger to advice, and into the invented season and out."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import pytest
from playwright.sync_api import expect

from browser.test_pages import violations
from canebench.bench.acts.ledger import the_ledger
from support.forked_bench import serving
from support.ledgers import dump_of
from support.played_take import BUSY_MS
from support.running_bench import Bench, signed_in_page

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, BrowserContext, Page

SIZES: Final = ((1440, 900), (1024, 768), (390, 844))
#: What a person may have to do before the first advice.
MOST_PRESSES: Final = 6
#: Counts presses of whatever kind, and forms whose fields were typed in, over all pages of a window.
_COUNTING: Final = """
    const add = (name, what) => {
        const told = JSON.parse(sessionStorage.getItem(name) ?? "[]");
        sessionStorage.setItem(name, JSON.stringify([...told, what]));
    };
    addEventListener("pointerdown", (event) => {
        const { textContent, name } = event.target;
        if (event.isTrusted) add("presses", textContent.trim().slice(0, 40) || name);
    }, true);
    addEventListener("keydown", (event) => {
        if (event.isTrusted && ["Enter", " "].includes(event.key)) add("presses", event.key);
    }, true);
    addEventListener("change", (event) => {
        const { form, type } = event.target;
        if (form && ["text", "number"].includes(type)) add("typed", form.getAttribute("action"));
    }, true);
"""


@pytest.fixture
def new_bench(tmp_path: Path) -> Iterator[Bench]:
    """A bench on a ledger that holds nothing."""
    with serving(tmp_path / "new" / "ledger.db") as running:
        yield running


def _told(page: Page, name: str) -> list[str]:
    found: list[str] = page.evaluate("(name) => JSON.parse(sessionStorage.getItem(name) ?? '[]')", name)
    return found


def test_first_advice_within_six_presses_and_one_form(hearing: Browser, new_bench: Bench) -> None:
    context = hearing.new_context(permissions=["microphone"], viewport={"width": 1440, "height": 900})
    page, watch = signed_in_page(context, new_bench)
    page.add_init_script(_COUNTING)
    page.goto(new_bench.address)
    page.locator("#begin-reed").click()
    page.keyboard.type("1")
    page.keyboard.press("Tab")
    page.keyboard.type("mine")
    page.get_by_role("button", name="Begin the fitting").click()
    page.get_by_label("A firm hand seat").click()
    live = page.locator("live-take")
    live.get_by_role("button", name="Listen", exact=True).click()
    expect(live).to_have_attribute("data-notes", re.compile("low A.*high A"), timeout=BUSY_MS)
    live.get_by_role("button", name="Stop and measure").click()
    expect(page.get_by_text("Saved: measured reed 1 in mine")).to_be_visible(timeout=BUSY_MS)
    expect(page.locator(".act .say")).to_have_text(re.compile(r"\w{4}"))
    presses, typed = _told(page, "presses"), set(_told(page, "typed"))
    # The counter itself: each press above is there, and what was typed.
    assert "Begin the fitting" in presses
    assert any("Listen" in one for one in presses)
    assert typed == {"/fit"}
    assert len(presses) <= MOST_PRESSES, presses
    context.close()
    watch.assert_clean()


def test_into_the_season_and_out_and_nothing_mixed(
    context: BrowserContext, new_bench: Bench, tmp_path: Path
) -> None:
    page, _ = signed_in_page(context, new_bench)
    before = dump_of(the_ledger(str(tmp_path / "new" / "ledger.db")))
    page.get_by_role("button", name="Make the season").click()
    page.get_by_role("link", name="Go to the season").click()
    expect(page.get_by_text("An invented season to try things on")).to_be_visible()
    inside = page.url
    assert not inside.startswith(new_bench.address)
    page.goto(f"{inside}reeds")
    assert violations(page) == []
    page.get_by_label("Name of the lot").fill("tried")
    page.get_by_label("How many reeds").fill("2")
    page.get_by_role("button", name="Take in", exact=True).click()
    expect(page.get_by_text(re.compile("Saved: took in"))).to_be_visible()
    page.get_by_role("link", name="Leave it").click()
    page.wait_for_url(f"{new_bench.address}/")
    expect(page.get_by_text("Three ways in")).to_be_visible()
    # The control: the season has it, one's own ledger has nothing of it.
    season = tmp_path / "new" / "invented-season" / "ledger.db"
    assert "tried" in {row["name"] for row in dump_of(the_ledger(str(season)))["lots"]}
    assert dump_of(the_ledger(str(tmp_path / "new" / "ledger.db"))) == before


@pytest.mark.parametrize("size", SIZES)
def test_the_last_fitting_is_seen_at_once_and_is_the_largest_thing(
    open_page: tuple[Page, object], bench: Bench, size: tuple[int, int]
) -> None:
    page, _ = open_page
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(bench.address)
    way = page.get_by_role("link", name="Go on with it")
    box = way.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= size[1]
    sizes = page.evaluate(
        """() => [...document.querySelectorAll("main :is(h1, h2, p, a, button, label, li)")]
            .map((one) => [parseFloat(getComputedStyle(one).fontSize), one.className])"""
    )
    largest = max(sizes)[0]
    act = next(found for found, name in sizes if name == "going-act")
    assert act >= max(found for found, name in sizes if name != "going-act" and found != largest)
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert violations(page) == []


@pytest.mark.parametrize("size", SIZES)
def test_an_empty_page_fits(context: BrowserContext, new_bench: Bench, size: tuple[int, int]) -> None:
    page, watch = signed_in_page(context, new_bench)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    for address in ("/", "/settings", "/reeds"):
        page.goto(new_bench.address + address)
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        assert violations(page) == []
    watch.assert_clean()
