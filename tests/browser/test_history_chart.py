"""The chart of a reed over time: in the colours of the look, and only where there is a course of time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from support.running_bench import Bench, Watch

_PIXELS = """() => {
    const canvas = document.querySelector("history-chart canvas");
    const all = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
    return all.reduce((sum, one) => (sum * 31 + one) % 1000000007, 7);
}"""


def pixels(page: Page, scheme: str) -> int:
    """A sum over what is drawn once the system has this look."""
    page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    # Drawing waits for the next frames.
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    return int(page.evaluate(_PIXELS))


def test_it_is_drawn_and_follows_the_look(open_page: tuple[Page, Watch], bench: Bench) -> None:
    page, _ = open_page
    page.goto(bench.address + "/reeds/4")
    chart = page.locator("history-chart")
    assert chart.locator("canvas").count() == 1
    assert "Tilt, cents" in chart.inner_text()
    light, dark = pixels(page, "light"), pixels(page, "dark")
    assert light != dark
    assert pixels(page, "light") == light
    assert chart.locator("canvas").count() == 1


def test_one_reading_is_no_course_of_time(open_page: tuple[Page, Watch], bench: Bench) -> None:
    page, _ = open_page
    page.goto(bench.address + "/reeds/10")
    assert page.get_by_text("playing 31.0 inH2O").is_visible()
    assert not page.locator("history-chart").is_visible()


def test_without_scripts_the_tables_stand_alone(open_page: tuple[Page, Watch], bench: Bench) -> None:
    page, _ = open_page
    browser = page.context.browser
    assert browser is not None
    plain = browser.new_context(java_script_enabled=False, storage_state=page.context.storage_state())
    bare = plain.new_page()
    for one, shown in ((page, True), (bare, False)):
        one.goto(bench.address + "/reeds/4")
        assert one.locator("history-chart").is_visible() == shown
        assert one.get_by_role("region", name="Strength of this reed").is_visible()
    plain.close()


@pytest.mark.parametrize("language", ["C", "de"])
def test_it_is_drawn_in_the_page_s_language(
    open_page: tuple[Page, Watch], bench: Bench, language: str
) -> None:
    """A machine without a language says "C", which no number can be written in; in German 1.5 is 1,5."""
    page, _ = open_page
    here = f"{{ get: () => '{language}' }}"
    page.add_init_script(f"Object.defineProperty(Navigator.prototype, 'language', {here});")
    page.add_init_script(
        """const fillText = CanvasRenderingContext2D.prototype.fillText;
        window.written = [];
        CanvasRenderingContext2D.prototype.fillText = function (text, ...where) {
            window.written.push(text);
            return fillText.call(this, text, ...where);
        };"""
    )
    page.goto(bench.address + "/reeds/4")
    assert page.locator("history-chart canvas").count() == 1
    written = page.evaluate("window.written")
    assert written
    assert not any("," in one for one in written if one[0].isdigit())
