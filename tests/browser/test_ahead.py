"""What lies ahead: a reed's forecast on its page, and the clock of a session, which outlives a reload."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from browser.test_pages import violations

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from support.running_bench import Watch


@pytest.mark.parametrize("width", [360, 768, 1440])
def test_the_forecast_fits_and_is_accessible(open_page: tuple[Page, Watch], width: int) -> None:
    page, watch = open_page
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(f"{watch.address}/reeds/19/ahead")
    expect(page.locator("forecast-chart canvas")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert violations(page) == []


def test_the_clock_of_a_session_writes_its_minutes_down(open_page: tuple[Page, Watch]) -> None:
    page, watch = open_page
    page.clock.install()
    page.goto(f"{watch.address}/reeds/19")
    page.locator("summary", has_text="Playing").click()
    page.get_by_role("button", name="Start the clock").click()
    page.clock.fast_forward("07:40")
    expect(page.get_by_role("timer")).to_have_text("7:40")
    page.reload()
    # It runs on, and is shown at once.
    expect(page.get_by_role("timer")).to_be_visible()
    page.clock.fast_forward("05:10")
    page.get_by_role("button", name="Stop and write it down").click()
    expect(page.get_by_text("played reed 19 for 13 min").first).to_be_visible()
    # Written down, it is off.
    page.locator("summary", has_text="Playing").click()
    expect(page.get_by_role("button", name="Start the clock")).to_be_visible()


def test_a_clock_stopped_to_read_the_strength_waits_for_it(open_page: tuple[Page, Watch]) -> None:
    page, watch = open_page
    page.clock.install()
    page.goto(f"{watch.address}/reeds/19")
    form = page.locator("form[action='/reeds/19/play']")
    page.locator("summary", has_text="Playing").click()
    form.get_by_role("button", name="Start the clock").click()
    page.clock.fast_forward("12:10")
    form.get_by_role("button", name="Stop, and read its strength").click()
    expect(form.get_by_label("Minutes")).to_have_value("12")
    expect(form.get_by_label("Plays at, after it")).to_be_focused()
    # Nothing was sent yet, so a reload loses nothing.
    page.reload()
    expect(page.get_by_role("timer")).to_be_visible()
    form.get_by_role("button", name="Stop, and read its strength").click()
    page.keyboard.type("26")
    page.keyboard.press("Enter")
    expect(page.get_by_text("played reed 19 for 12 min, plays at 26 inH2O after").first).to_be_visible()
    assert page.evaluate("localStorage.length") == 0
    expect(page.get_by_role("link", name="Take a recording of it now")).to_be_visible()


def test_control_a_clock_forgotten_writes_nothing(open_page: tuple[Page, Watch]) -> None:
    page, watch = open_page
    page.goto(f"{watch.address}/reeds/19")
    page.locator("summary", has_text="Playing").click()
    page.get_by_role("button", name="Start the clock").click()
    page.get_by_role("button", name="Forget it").click()
    expect(page.get_by_role("button", name="Start the clock")).to_be_visible()
    page.reload()
    expect(page.get_by_text("played reed 19 for 13 min")).to_have_count(0)
    assert page.evaluate("localStorage.length") == 0
