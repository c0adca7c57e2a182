"""The bench screen: act, beam and the one control are seen at once, before, while and after one listens."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import pytest
from playwright.sync_api import expect

from browser.test_pages import violations
from canebench.base.notes import NOTES
from support.played_take import BUSY_MS
from support.running_bench import signed_in_page, watched_page

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page, StorageState

    from support.running_bench import Bench, Watch

#: A laptop, a tablet, a telephone.
SIZES: Final = ((1440, 900), (1024, 768), (390, 844))
#: One with an act that can hurt a reed, a clean start, and one that is finished.
PLACES: Final = ("/fit/24/2", "/fit/5/1", "/fit/4/4")
#: What is not there, or not wholly in the window, or has something else over it.
_NOT_SEEN: Final = """(names) => {
    const inset = 4;
    const seen = (one) => {
        const { left, right, top, bottom } = one.getBoundingClientRect();
        if (top < 0 || left < 0 || bottom > innerHeight + 1 || right > innerWidth + 1) return false;
        const frame = one.closest(".beam") ?? one;
        return [top + inset, (top + bottom) / 2, bottom - inset].every((y) => {
            const hit = document.elementFromPoint((left + right) / 2, y);
            return frame.contains(hit) || hit.contains(one);
        });
    };
    return names.filter((name) => {
        const shown = [...document.querySelectorAll(name)].filter((one) => one.checkVisibility());
        return shown.length !== 1 || !seen(shown[0]);
    });
}"""
_ACT, _BEAM, _CONTROL = ".act :is(.say, #clean-title)", ".bench .beam svg:not(.folds *)", ".big"
#: What the page names as missing, and what it has in its beam, at one moment.
_MISSING: Final = """() => {
    const live = document.querySelector("live-take");
    return [live.querySelector("[data-place=missing]").textContent, live.dataset.notes ?? ""];
}"""

#: A busy machine loses sound, and that is said at length: here it is whatever the machine does.
_WITH_GAPS: Final = """() => {
    const gaps = document.querySelector("live-take [data-place=gaps]");
    const said = "12 gaps, 1 234 ms lost; nothing is joined across one";
    const say = () => { if (gaps.textContent !== said) gaps.textContent = said; };
    new MutationObserver(say).observe(gaps, { childList: true, characterData: true, subtree: true });
    say();
}"""


def not_seen(page: Page, size: tuple[int, int], *more: str) -> list[str]:
    """What of act, beam and control one would have to scroll for, or cannot see."""
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.evaluate("scrollTo(0, 0)")
    # Two frames: laid out, and drawn.
    page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    found: list[str] = page.evaluate(_NOT_SEEN, [_ACT, _BEAM, _CONTROL, *more])
    return found


@pytest.fixture(scope="module")
def looked_at(browser: Browser, season_bench: Bench, season_entry: StorageState) -> Iterator[Page]:
    context = browser.new_context(reduced_motion="reduce", storage_state=season_entry)
    page, _ = watched_page(context, season_bench)
    yield page
    context.close()


@pytest.fixture
def page_that_hears(hearing: Browser, bench: Bench) -> Iterator[tuple[Page, Watch]]:
    context = hearing.new_context(permissions=["microphone"])
    page, watch = signed_in_page(context, bench)
    yield page, watch
    context.close()
    watch.assert_clean()


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("size", SIZES)
def test_one_screen_before_listening(
    looked_at: Page, season_bench: Bench, place: str, size: tuple[int, int]
) -> None:
    looked_at.goto(season_bench.address + place)
    assert not_seen(looked_at, size, ".since") == []
    if place == PLACES[0]:
        assert not_seen(looked_at, size, ".act .care", ".act details :is(summary, dd:last-child)") == []
    assert violations(looked_at) == []


@pytest.mark.parametrize("size", SIZES)
def test_a_control_or_a_beam_out_of_sight_is_noticed(
    looked_at: Page, season_bench: Bench, size: tuple[int, int]
) -> None:
    """Control: pushed out of the window, and covered."""
    looked_at.goto(season_bench.address + PLACES[0])
    assert not_seen(looked_at, size) == []
    looked_at.evaluate("document.querySelector('.big').style.setProperty('translate', '0 900px')")
    assert not_seen(looked_at, size) == [_CONTROL]
    looked_at.evaluate("document.querySelector('.big').style.removeProperty('translate')")
    for name, value in (("position", "fixed"), ("inset", "0"), ("z-index", "9"), ("background", "red")):
        looked_at.evaluate(f"document.querySelector('.bench-head').style.setProperty('{name}', '{value}')")
    assert not_seen(looked_at, size) == [_ACT, _BEAM, _CONTROL]


def test_one_screen_while_listening_and_after(page_that_hears: tuple[Page, Watch], bench: Bench) -> None:
    page, _ = page_that_hears
    page.goto(bench.address + PLACES[0])
    page.keyboard.press("Enter")
    live = page.locator("live-take")
    expect(live).to_have_attribute("data-estimates", re.compile(r"\d"), timeout=BUSY_MS)
    page.evaluate(_WITH_GAPS)
    for size in SIZES:
        assert not_seen(page, size, ".missing") == []
    expect(live).to_have_attribute("data-notes", re.compile("low A.*high A"), timeout=BUSY_MS)
    said, held = page.evaluate(_MISSING)
    assert said == f"Still missing: {', '.join(note for note in NOTES if note not in held.split(','))}."
    for size in SIZES:
        assert not_seen(page, size, ".missing") == []
    # What sounds is named, and no figure of it wanders.
    assert "cents" not in live.locator(".live-control").inner_text()
    page.keyboard.press("Enter")
    # Nothing was answered, and nothing is taken for granted: it is asked, and what was played is kept.
    expect(live.get_by_role("status").filter(has_text="It is recorded.")).to_be_visible(timeout=BUSY_MS)
    assert not_seen(page, SIZES[0]) == []
    page.get_by_label("Nothing at all").check()
    page.keyboard.press("Enter")
    expect(page.get_by_text("Saved: measured reed 24")).to_be_visible(timeout=BUSY_MS)
    for size in SIZES:
        assert not_seen(page, size) == []
    assert page.locator("[name=since]:checked").count() == 0


def test_listening_is_two_tabs_away(looked_at: Page, season_bench: Bench) -> None:
    looked_at.goto(season_bench.address + PLACES[0])
    for _ in range(2):
        looked_at.keyboard.press("Tab")
    expect(looked_at.get_by_role("link", name="To listening")).to_be_focused()
    looked_at.keyboard.press("Enter")
    expect(looked_at.get_by_role("button", name="Listen", exact=True)).to_be_focused()


def test_one_key_listens(looked_at: Page, season_bench: Bench) -> None:
    """There is no microphone here, so that the page says when the key was pressed."""
    looked_at.goto(season_bench.address + PLACES[0])
    said = looked_at.locator("[data-place=said]")
    for key in ("a", "Space", "Shift+Enter"):
        looked_at.keyboard.press(key)
    expect(said).to_be_empty()
    looked_at.get_by_label("The act above").check()
    looked_at.keyboard.press("Enter")
    expect(said).to_contain_text("microphone")
    expect(looked_at.locator(".big kbd").first).to_be_visible()


def test_the_key_does_what_it_does_elsewhere_first(looked_at: Page, season_bench: Bench) -> None:
    """On a fold it opens that, and nothing listens."""
    looked_at.goto(season_bench.address + PLACES[0])
    looked_at.get_by_text("The room", exact=True).focus()
    looked_at.keyboard.press("Enter")
    expect(looked_at.get_by_label("Temperature")).to_be_visible()
    expect(looked_at.locator("[data-place=said]")).to_be_empty()


def test_fields_come_with_the_answer_that_needs_them(looked_at: Page, season_bench: Bench) -> None:
    looked_at.goto(season_bench.address + PLACES[0])
    seat = looked_at.locator("#take-seat")
    looked_at.get_by_label("Nothing at all").check()
    expect(seat).to_be_hidden()
    looked_at.get_by_label("Something else").check()
    expect(seat).to_be_visible()
