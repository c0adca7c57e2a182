"""The fitting in a real browser: typed, from a file, with the keyboard alone, taken back, printed."""

from __future__ import annotations

import re
from io import BytesIO
from typing import TYPE_CHECKING

import av
import pytest
from playwright.sync_api import expect
from pypdf import PdfReader

from canebench.base.notes import NOTES
from canebench.sound.files.decode import read_recording
from support.running_bench import signed_in_page

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from support.running_bench import Bench, Watch

TYPED = dict(zip(NOTES, (417.0, 475.2, 533.5, 590.0, 633.0, 711.0, 788.0, 828.0, 935.0), strict=True))


def begin(page: Page, reed: str = "77") -> None:
    page.get_by_label("Reed needed").fill(reed)
    page.get_by_label("Chanter needed").fill("the old one")
    page.get_by_role("button", name="Begin the fitting").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(f"Reed {reed} in the old one")


def type_readings(page: Page) -> None:
    page.get_by_label("A firm hand seat").check()
    page.get_by_text("Type what it reads").click()
    for note, hz in TYPED.items():
        page.get_by_label(note, exact=True).fill(f"{hz:g}")
    page.get_by_role("button", name="Take these readings").click()


def test_typed_readings_to_the_next_act_and_back(open_page: tuple[Page, Watch]) -> None:
    page, _ = open_page
    begin(page)
    type_readings(page)
    expect(page.locator("#act-say")).to_contain_text("Seat the reed")
    expect(page.get_by_role("img", name=re.compile("The beam now"))).to_be_visible()
    expect(page.locator(".beam-now dl.three")).to_contain_text("octave narrow")
    page.get_by_role("status").get_by_role("button", name="Undo").first.click()
    expect(page.get_by_role("heading", name="A clean start")).to_be_visible()


def test_enter_in_a_reading_takes_the_readings(open_page: tuple[Page, Watch]) -> None:
    """There it is no key to listen with."""
    page, _ = open_page
    begin(page)
    page.get_by_label("A firm hand seat").check()
    page.get_by_text("Type what it reads").click()
    page.get_by_label("low A", exact=True).fill("475.2")
    page.get_by_label("high A", exact=True).fill("935")
    page.keyboard.press("Enter")
    expect(page.locator("#act-say")).to_contain_text("Seat the reed")


def test_an_m4a_from_a_telephone(open_page: tuple[Page, Watch], demo_take: Path, tmp_path: Path) -> None:
    page, _ = open_page
    begin(page)
    page.get_by_label("A firm hand seat").check()
    page.get_by_text("From a file", exact=True).click()
    page.get_by_label("Sound file").set_input_files(_as_m4a(demo_take, tmp_path / "voice memo.m4a"))
    page.get_by_role("button", name="Measure the file").click()
    expect(page.locator("#act-say")).to_be_visible()
    page.get_by_text("Numbers", exact=True).click()
    expect(page.get_by_role("table").last).to_contain_text("high A")


def test_with_the_keyboard_alone(open_page: tuple[Page, Watch]) -> None:
    page, _ = open_page
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="To the page")).to_be_focused()
    page.keyboard.press("Enter")
    _tab_to(page, "begin-reed")
    page.keyboard.type("78")
    _tab_to(page, "begin-chanter")
    page.keyboard.type("the old one")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="A clean start")).to_be_visible()
    _tab_to_answer(page)
    page.keyboard.press("Space")
    _tab_to_text(page, "Type what it reads")
    page.keyboard.press("Enter")
    for note, hz in TYPED.items():
        _tab_to(page, f"take-typed-{note}")
        page.keyboard.type(f"{hz:g}")
    _tab_to_text(page, "Take these readings")
    page.keyboard.press("Enter")
    expect(page.locator("#act-say")).to_contain_text("Seat the reed")


def test_what_went_wrong_is_said_and_nothing_typed_is_lost(open_page: tuple[Page, Watch]) -> None:
    page, watch = open_page
    begin(page)
    page.get_by_label("A firm hand seat").check()
    page.get_by_text("Type what it reads").click()
    page.get_by_label("low A", exact=True).fill("476.5")
    page.get_by_label("E", exact=True).fill("abc")
    page.get_by_role("button", name="Take these readings").click()
    expect(page.get_by_role("alert")).to_contain_text("a number is needed")
    expect(page.get_by_label("low A", exact=True)).to_have_value("476.5")
    # A refused form answers 422, which browsers note as an error.
    assert all("422" in error for error in watch.errors)
    watch.clear()


def test_the_fitting_prints_to_pdf(open_page: tuple[Page, Watch]) -> None:
    page, _ = open_page
    page.get_by_role("link", name="Reed 21 in number 3").click()
    # A busy machine prints what is there: the page must be.
    expect(page.locator("#act-say")).to_be_visible()
    pdf = PdfReader(BytesIO(page.pdf(format="A4", tagged=True)))
    words = "\n".join(sheet.extract_text() for sheet in pdf.pages)
    assert "Next" in words
    assert "Height" in words
    assert "All nine in numbers" in words
    assert "B hole bare now, 1.0 mm planned" in words
    assert "Measure the file" not in words
    assert len(pdf.pages) <= 3


def test_everything_but_the_microphone_works_without_scripts(browser: Browser, bench: Bench) -> None:
    context = browser.new_context(java_script_enabled=False)
    page, watch = signed_in_page(context, bench)
    begin(page)
    type_readings(page)
    expect(page.locator("#act-say")).to_contain_text("Seat the reed")
    watch.assert_clean()
    context.close()


def _tab_to(page: Page, element_id: str) -> None:
    for _ in range(120):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == element_id:
            return
    pytest.fail(f"the keyboard does not reach {element_id}")


def _tab_to_answer(page: Page) -> None:
    """To what was done since the last take, of which nothing is chosen."""
    for _ in range(120):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.name") == "since":
            return
    pytest.fail("the keyboard does not reach what was done since")


def _tab_to_text(page: Page, text: str) -> None:
    for _ in range(120):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent.trim()") == text:
            return
    pytest.fail(f"the keyboard does not reach {text!r}")


def _as_m4a(source: Path, path: Path) -> Path:
    """The take as AAC in an MP4 file, written by a real encoder."""
    recording = read_recording(source)
    rate = int(recording.rate_hz)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=rate)
        stream.layout = "mono"
        frame = av.AudioFrame.from_ndarray(
            recording.samples.astype("float32").reshape(1, -1), format="fltp", layout="mono"
        )
        frame.sample_rate = rate
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            container.mux(packet)
    return path
