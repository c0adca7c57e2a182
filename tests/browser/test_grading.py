"""Twenty reeds graded by keyboard on one page: presses, time, nothing lost, nothing that jumps."""

from __future__ import annotations

import re
import time
from typing import TYPE_CHECKING, Final

import pytest
from playwright.sync_api import expect

from browser.test_pages import violations
from support.forked_bench import serving
from support.running_bench import signed_in_page, watched_page

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, BrowserContext, Locator, Page, StorageState

    from support.running_bench import Bench, Watch

#: An ordinary hand at a keyboard, neither quick nor practised: 280 ms a key is some 43 words a minute.
KEY_S: Final = 0.28
#: Before the tea is cold: for typing alone, so that the rest is left for blowing.
MOST_S: Final = 60.0
REEDS: Final = 20
#: Where the page stands, and whether the field that has the focus is seen whole, over the bar.
_STANDS: Final = """() => {
    const field = document.activeElement.getBoundingClientRect();
    const bar = document.querySelector(".grading-bar").getBoundingClientRect();
    return [scrollY, field.top >= 0 && field.bottom <= bar.top + 1];
}"""
_TALLEST: Final = "Math.max(...[...document.querySelectorAll('[data-reed]')].map((row) => row.offsetHeight))"


@pytest.fixture
def new_bench(tmp_path: Path) -> Iterator[Bench]:
    with serving(tmp_path / "ledger.db") as running:
        yield running


@pytest.fixture
def sheet(context: BrowserContext, new_bench: Bench) -> Iterator[tuple[Page, Watch]]:
    """A new box of twenty, its sheet open; the page must end without an error that was not looked for."""
    page, watch = signed_in_page(context, new_bench)
    _begin(page, new_bench)
    yield page, watch
    watch.assert_clean()


def _begin(page: Page, bench: Bench) -> None:
    page.goto(f"{bench.address}/lots")
    page.get_by_role("button", name="Begin the sheet").click()
    expect(_gauge(page, 1)).to_be_focused()


def _gauge(page: Page, reed: int) -> Locator:
    return page.get_by_role("textbox", name=f"Gauge, reed {reed}", exact=True)


def _place(page: Page, reed: int) -> Locator:
    return page.locator(f"[data-reed='{reed}'] [data-part=place]")


def _said(page: Page) -> Locator:
    return page.locator(".grading-bar [role=status]")


def _refusals(watch: Watch, *statuses: int) -> None:
    """A browser says in its console what was refused; that is all it has to say."""
    said = [re.findall(r"status of (\d+)", one) for one in watch.errors]
    assert said == [[str(status)] for status in statuses]
    watch.clear()


def test_twenty_reeds_before_the_tea_is_cold(sheet: tuple[Page, Watch]) -> None:
    page, _ = sheet
    readings = [f"{22 + 0.7 * (7 * n % REEDS):.1f}" for n in range(REEDS)]
    loads: list[str] = []
    page.on("framenavigated", lambda frame: loads.append(frame.url))
    tallest, presses, moved, last = page.evaluate(_TALLEST), 0, 0.0, 0.0
    start = time.perf_counter()
    for reading in readings:
        for key in (*reading, "Enter"):
            page.keyboard.press(key)
            presses += 1
        now, seen = page.evaluate(_STANDS)
        assert seen, "the field that is typed in is out of sight"
        moved, last = max(moved, abs(now - last)), now
    for reed in (1, REEDS):
        expect(_place(page, reed)).to_have_text(re.compile(rf"^\d+ of {REEDS}$"))
    machine_s = time.perf_counter() - start
    typing_s = presses * KEY_S
    print(  # noqa: T201 - the figures, seen with -rP
        f"{REEDS} reeds by gauge: {presses} presses, {typing_s:.0f} s at {1000 * KEY_S:.0f} ms a key; "
        f"the machine's own {machine_s:.1f} s; at most {moved:.0f} px of scroll a reed, rows of {tallest} px"
    )
    assert presses == sum(len(reading) + 1 for reading in readings), "a key was pressed that types nothing"
    assert typing_s < MOST_S
    assert moved <= tallest + 1
    assert loads == [], "the page was loaded anew"
    order = page.locator("[data-place=order]").inner_text().split(", ")
    assert order == [str(1 + n) for n in sorted(range(REEDS), key=lambda n: float(readings[n]))]
    page.reload()
    assert [float(_gauge(page, 1 + n).input_value()) for n in range(REEDS)] == [
        float(one) for one in readings
    ]


def test_a_page_that_jumps_would_be_noticed(sheet: tuple[Page, Watch]) -> None:
    """Control: a script that throws the page to its top at every key."""
    page, _ = sheet
    page.set_viewport_size({"width": 1280, "height": 500})
    page.evaluate("document.addEventListener('keyup', () => scrollTo(0, 0))")
    for _ in range(8):
        page.keyboard.press("Enter")
    assert page.evaluate(_STANDS) == [0, False]


def test_arrows_go_up_and_down_and_what_was_typed_is_kept(sheet: tuple[Page, Watch]) -> None:
    page, _ = sheet
    page.keyboard.type("28")
    page.keyboard.press("ArrowDown")
    expect(_gauge(page, 2)).to_be_focused()
    expect(_place(page, 1)).to_have_text("1 of 1")
    page.keyboard.press("ArrowUp")
    expect(_gauge(page, 1)).to_be_focused()
    page.keyboard.press("Shift+Enter")
    expect(_gauge(page, 1)).to_be_focused()
    # A tick and its neighbour below it, in the same column.
    page.locator("[name=marks-1][value=chip]").focus()
    for key in ("Space", "ArrowRight", "ArrowRight", "Space", "Enter"):
        page.keyboard.press(key)
    expect(page.locator("[name=marks-2][value=gap]")).to_be_focused()
    expect(_said(page)).to_contain_text("Graded reed 1 of the lot box 1: 28 inH2O, chip, gap")


def test_by_mouth_the_reed_compared_with_is_told_once(sheet: tuple[Page, Watch]) -> None:
    """The first letter of the words, and Enter: two presses a reed once the other reed is told."""
    page, _ = sheet
    for key in ("2", "8", "Enter", "Tab", "e", "Tab", "1", "Enter", "Shift+Tab"):
        page.keyboard.press(key)
    for reed, key in ((3, "s"), (4, "m"), (5, "a")):
        expect(page.get_by_label(f"By mouth, reed {reed}", exact=True)).to_be_focused()
        page.keyboard.press(key)
        page.keyboard.press("Enter")
        expect(page.get_by_label(f"Against which reed, reed {reed}", exact=True)).to_have_value("1")
    for reed in range(2, 6):
        expect(_place(page, reed)).to_contain_text("by mouth")
    expect(page.locator("[data-place=order]")).to_have_text(re.compile("^2, (1, 3|3, 1), 5, 4$"))


def test_a_refused_row_keeps_what_was_typed_and_the_others_are_kept(sheet: tuple[Page, Watch]) -> None:
    page, watch = sheet
    for text in ("28", "abc", "280", "7.2", "30"):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    expect(_place(page, 5)).to_have_text("2 of 2")
    for reed, text, why in (
        (2, "abc", "Nearest that works: 30."),
        (3, "280", "from 0 to 100 inH2O is allowed. Nearest that works: 28 inH2O"),
        (4, "7.2", "Nearest that works: 7.2 kPa."),
    ):
        expect(_gauge(page, reed)).to_have_value(text)
        expect(_gauge(page, reed)).to_have_attribute("aria-invalid", "true")
        expect(page.locator(f"#why-{reed}")).to_contain_text(why)
    _refusals(watch, 422, 422, 422)
    # Typed text that was refused is still there after a reload, and so is all that was kept.
    page.reload()
    expect(_gauge(page, 2)).to_have_value("abc")
    expect(_gauge(page, 1)).to_have_value("28")
    _gauge(page, 4).fill("7.2 kPa")
    _gauge(page, 4).press("Enter")
    expect(_place(page, 4)).to_have_text("2 of 3")
    watch.clear()


def test_what_was_wrong_is_forgotten_with_what_was_typed(sheet: tuple[Page, Watch]) -> None:
    page, watch = sheet
    page.keyboard.type("abc")
    page.keyboard.press("Enter")
    expect(page.locator("#why-1")).to_be_visible()
    _refusals(watch, 422)
    page.keyboard.press("ArrowUp")
    for key in ("Delete", "Enter"):
        page.keyboard.press(key)
    expect(page.locator("#why-1")).to_be_hidden()
    expect(_gauge(page, 1)).to_have_attribute("aria-invalid", "false")


def test_half_a_row_is_not_lost_by_a_reload(sheet: tuple[Page, Watch]) -> None:
    page, _ = sheet
    page.keyboard.type("28")
    page.reload()
    expect(_gauge(page, 1)).to_have_value("28")
    page.locator("[name=remarks-3]").fill("pale cane")
    page.goto("about:blank")
    page.go_back()
    expect(page.locator("[name=remarks-3]")).to_have_value("pale cane")


def test_the_last_entry_is_undone_by_key_and_by_button(sheet: tuple[Page, Watch]) -> None:
    page, _ = sheet
    for text in ("28", "30"):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    expect(_place(page, 2)).to_have_text("2 of 2")
    page.keyboard.press("Control+z")
    expect(_gauge(page, 2)).to_be_focused()
    expect(_gauge(page, 2)).to_have_value("")
    expect(_place(page, 1)).to_have_text("1 of 1")
    page.locator(".grading-bar").get_by_role("button", name="Undo").click()
    expect(_gauge(page, 1)).to_have_value("")
    expect(_gauge(page, 1)).to_be_focused()
    expect(page.locator(".grading-bar").get_by_role("button", name="Undo")).to_be_hidden()


def test_two_tabs_show_both_versions_and_ask(sheet: tuple[Page, Watch], new_bench: Bench) -> None:
    page, watch = sheet
    other, other_watch = watched_page(page.context, new_bench)
    other.goto(f"{new_bench.address}/lots/1")
    _gauge(other, 1).fill("30")
    _gauge(other, 1).press("Enter")
    expect(_place(other, 1)).to_have_text("1 of 1")
    other_watch.assert_clean()
    _gauge(page, 1).fill("29")
    _gauge(page, 1).press("Enter")
    why = page.locator("#why-1")
    expect(why).to_contain_text("nothing then, 30 inH2O now. Yours, 29 inH2O, is not written down")
    _refusals(watch, 409)
    expect(_gauge(page, 1)).to_have_value("29")
    page.locator("[name=over-1]").check()
    page.keyboard.press("Enter")
    expect(why).to_be_hidden()
    other.reload()
    expect(_gauge(other, 1)).to_have_value("29")
    other.close()


def test_what_was_typed_before_a_reload_writes_nothing_over(
    sheet: tuple[Page, Watch], new_bench: Bench
) -> None:
    """Typed on what stood then, it meets what another has written meanwhile; twice reloaded too."""
    page, watch = sheet
    page.keyboard.type("29")
    other, _ = watched_page(page.context, new_bench)
    other.goto(f"{new_bench.address}/lots/1")
    _gauge(other, 1).fill("30")
    _gauge(other, 1).press("Enter")
    expect(_place(other, 1)).to_have_text("1 of 1")
    for _ in range(2):
        page.reload()
        expect(page.locator("#why-1")).to_contain_text("30 inH2O now. Yours, 29 inH2O, is not written down")
        expect(_gauge(page, 1)).to_have_value("29")
    other.reload()
    expect(_gauge(other, 1)).to_have_value("30")
    other.close()
    watch.clear()


def test_a_bench_that_does_not_answer_loses_nothing(sheet: tuple[Page, Watch]) -> None:
    page, watch = sheet
    page.route("**/lots/1*", lambda route: route.abort())
    page.keyboard.type("28")
    page.keyboard.press("Enter")
    expect(_said(page)).to_have_text("Not saved: the bench does not answer. What you typed stays here.")
    page.unroute_all()
    page.route("**/lots/1*", lambda route: route.fulfill(status=500, body="no"))
    page.keyboard.type("30")
    page.keyboard.press("Enter")
    expect(_said(page)).to_contain_text("the bench answered 500")
    page.unroute_all()
    assert len(watch.errors) == 2
    watch.clear()
    page.get_by_role("button", name="Save").click()
    expect(_place(page, 2)).to_have_text("2 of 2")


def test_without_scripts_it_is_one_form(browser: Browser, new_bench: Bench) -> None:
    context = browser.new_context(java_script_enabled=False)
    page, watch = signed_in_page(context, new_bench)
    page.goto(f"{new_bench.address}/lots")
    page.get_by_role("button", name="Begin the sheet").click()
    for reed, text in ((1, "28"), (2, "abc"), (3, "26")):
        _gauge(page, reed).fill(text)
    page.get_by_role("button", name="Save").click()
    expect(_gauge(page, 2)).to_have_value("abc")
    expect(page.locator("#why-2")).to_contain_text("Nearest that works: 30")
    expect(_place(page, 1)).to_have_text("2 of 2")
    _refusals(watch, 422)
    page.locator(".grading-bar").get_by_role("button", name="Undo").click()
    expect(_gauge(page, 1)).to_have_value("")
    context.close()


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 768, 1440])
def test_the_sheet_is_for_everybody(
    browser: Browser, season_bench: Bench, season_entry: StorageState, width: int, theme: str
) -> None:
    """With a refusal shown, at each width, in light and dark; nothing is written into that ledger."""
    context = browser.new_context(viewport={"width": width, "height": 800}, storage_state=season_entry)
    page, watch = watched_page(context, season_bench)
    page.context.add_cookies([{"name": "canebench-theme", "value": theme, "url": season_bench.address}])
    for path in ("/lots", "/lots/2"):
        page.goto(season_bench.address + path)
        assert violations(page) == []
    _gauge(page, 13).fill("abc")
    _gauge(page, 13).press("Enter")
    expect(page.locator("#why-13")).to_be_visible()
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    _refusals(watch, 422)
    context.close()
