"""While a take is measured a sign says so at once; given up, nothing of it is kept."""

from __future__ import annotations

import json
import signal
import time
from typing import TYPE_CHECKING

import numpy as np
import pytest
from playwright.sync_api import expect

from canebench.sound.files.decode import read_recording
from canebench.sound.files.encode import write_recording
from canebench.sound.files.recording import Recording
from support.running_bench import signed_in_page

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from support.running_bench import Bench, Watch


@pytest.fixture(scope="module")
def long_take(demo_take: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bundled take over and over, so that measuring it takes a while."""
    once = read_recording(demo_take)
    path = tmp_path_factory.mktemp("long") / "long.flac"
    samples = np.tile(once.samples, 4)
    write_recording(Recording(samples=samples, rate_hz=once.rate_hz, origin="long"), path)
    return path


def _sent(page: Page, take: Path, *, noted: bool = False) -> str:
    page.get_by_label("Reed needed").fill("77")
    page.get_by_label("Chanter needed").fill("the old one")
    page.get_by_role("button", name="Begin the fitting").click()
    page.get_by_label("A firm hand seat").check()
    page.get_by_text("From a file", exact=True).click()
    page.get_by_label("Sound file").set_input_files(take)
    place = page.url
    if noted:
        page.evaluate(_NOTED)
    # Stopped before its request is out, the driver goes on waiting for the next page; no hand is that quick.
    with page.expect_request("**/take"):
        page.get_by_role("button", name="Measure the file").click(no_wait_after=True)
    return place


#: Notes what stands on the page a moment after the form was sent: while one page waits for the next, the
#: usual ways to look at it wait too.
_NOTED = """() => document.querySelector("#take").addEventListener("submit", () => setTimeout(() => {
    const sign = document.querySelector("measuring-sign dialog");
    const seen = [sign.open, document.activeElement.textContent, sign.textContent];
    sessionStorage.setItem("seen", JSON.stringify(seen));
}, 100))"""


def test_a_sign_at_once_and_a_way_out(
    open_page: tuple[Page, Watch], long_take: Path, season_copy: Path
) -> None:
    page, watch = open_page
    before = {path.name for path in (season_copy / "takes").glob("*.flac")}
    place = _sent(page, long_take, noted=True)
    time.sleep(0.7)
    page.keyboard.press("Enter")
    expect(page.get_by_text("Given up. Nothing of it was kept.")).to_be_visible()
    expect(page.get_by_role("dialog")).to_be_hidden()
    is_open, focused, told = json.loads(page.evaluate("sessionStorage.getItem('seen')"))
    assert is_open
    assert focused == "Give it up, keep nothing"
    assert "Measuring the take" in told
    assert "long.flac" in told
    # It stays so, however long the bench would have gone on measuring.
    page.wait_for_timeout(6_000)
    page.goto(place)
    expect(page.get_by_role("heading", name="A clean start")).to_be_visible()
    assert {path.name for path in (season_copy / "takes").glob("*.flac")} == before
    watch.clear()


def test_control_left_alone_it_is_kept(open_page: tuple[Page, Watch], demo_take: Path) -> None:
    page, _ = open_page
    _sent(page, demo_take)
    expect(page.locator("#act-say")).to_be_visible()
    expect(page.get_by_role("dialog")).to_have_count(0)


def test_given_up_it_can_be_sent_again(
    open_page: tuple[Page, Watch], long_take: Path, demo_take: Path
) -> None:
    page, watch = open_page
    _sent(page, long_take)
    page.keyboard.press("Escape")
    expect(page.get_by_text("Given up. Nothing of it was kept.")).to_be_visible()
    page.get_by_label("Sound file").set_input_files(demo_take)
    page.get_by_role("button", name="Measure the file").click()
    expect(page.locator("#act-say")).to_be_visible()
    watch.clear()


def test_without_scripts_a_browser_that_goes_away_gives_up(
    browser: Browser, bench: Bench, long_take: Path, season_copy: Path
) -> None:
    context = browser.new_context(java_script_enabled=False)
    page, _ = signed_in_page(context, bench)
    before = {path.name for path in (season_copy / "takes").glob("*.flac")}
    _sent(page, long_take)
    page.wait_for_timeout(500)
    context.close()
    # A server that stops lets what runs come to its end.
    bench.server.send_signal(signal.SIGINT)
    bench.server.wait(timeout=60)
    assert {path.name for path in (season_copy / "takes").glob("*.flac")} == before
