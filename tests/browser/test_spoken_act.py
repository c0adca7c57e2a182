"""The next act by ear: on request, in a voice of this machine alone, once after each take, stopped at once.

The browser's speech is stood in for by one that keeps what it was given; its voices are told by each test.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import pytest
from playwright.sync_api import expect

from browser.test_bench_screen import PLACES, SIZES, not_seen
from browser.test_fitting import begin, type_readings
from browser.test_pages import violations
from support.running_bench import signed_in_page, watched_page

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, BrowserContext, Page, StorageState

    from support.running_bench import Bench

_SPEECH: Final = """(() => {
    const voices = VOICES;
    const kept = { said: [], cancelled: 0 };
    class Utterance extends EventTarget {
        constructor(text) { super(); this.text = text; }
    }
    const speech = Object.assign(new EventTarget(), {
        getVoices: () => voices,
        speak: ({ text, voice }) => kept.said.push([text, voice?.name ?? null]),
        cancel: () => { kept.cancelled += 1; },
    });
    Object.defineProperty(window, "speechSynthesis", { value: speech });
    window.SpeechSynthesisUtterance = Utterance;
    window.kept = kept;
})()"""
_OURS: Final = '{name: "ours", lang: "en-GB", localService: true}'
_REMOTE: Final = '{name: "remote", lang: "en-GB", localService: false}'
_FOREIGN: Final = '{name: "foreign", lang: "de-DE", localService: true}'
_BUTTON: Final = "Speak the next act"


def with_voices(context: BrowserContext, *voices: str) -> None:
    """Every page of it has these voices, and no others."""
    context.add_init_script(_SPEECH.replace("VOICES", f"[{', '.join(voices)}]"))


def spoken(page: Page) -> list[list[Any]]:
    """What this page said, each with its voice."""
    found: list[list[Any]] = page.evaluate("window.kept.said")
    return found


@pytest.fixture
def page_with_voices(context: BrowserContext, bench: Bench) -> Iterator[Page]:
    """A remote voice stands first, so that taking the first would be noticed."""
    with_voices(context, _REMOTE, _FOREIGN, _OURS)
    page, watch = signed_in_page(context, bench)
    yield page
    watch.assert_clean()


def test_the_act_is_spoken_after_each_take_once_it_is_asked_for(page_with_voices: Page) -> None:
    page = page_with_voices
    begin(page)
    button = page.get_by_role("button", name=_BUTTON)
    expect(button).to_have_attribute("aria-pressed", "false")
    assert spoken(page) == []
    button.click()
    expect(button).to_have_attribute("aria-pressed", "true")
    [[said, voice]] = spoken(page)
    assert voice == "ours"
    assert said.startswith("A clean start. All old tape is off the chanter")
    type_readings(page)
    expect(page.locator("#act-say")).to_contain_text("Seat the reed")
    expect(button).to_have_attribute("aria-pressed", "true")
    [[said, voice]] = spoken(page)
    assert voice == "ours"
    headline = page.locator("#act-say").inner_text()
    assert "1 mm deeper, in moves of at most 0.5 mm" in headline
    assert "1 millimetre deeper, in moves of at most 0.5 millimetres" in said
    # The cautions belong to the act, and a unit is a word.
    assert "Take care" in said
    assert " mm" not in said
    # Looked at once more it says nothing: no take has come.
    page.reload()
    expect(button).to_have_attribute("aria-pressed", "true")
    assert spoken(page) == []


def test_off_it_says_nothing_after_a_take(page_with_voices: Page) -> None:
    page = page_with_voices
    begin(page)
    type_readings(page)
    expect(page.locator("#act-say")).to_contain_text("Seat the reed")
    expect(page.get_by_role("button", name=_BUTTON)).to_have_attribute("aria-pressed", "false")
    assert spoken(page) == []


def test_key_and_escape(page_with_voices: Page, bench: Bench) -> None:
    """The letter turns it on and off; Escape stops what is said and leaves it on; listening stops it too."""
    page = page_with_voices
    page.goto(bench.address + PLACES[0])
    button = page.get_by_role("button", name=_BUTTON)
    page.keyboard.press("s")
    expect(button).to_have_attribute("aria-pressed", "true")
    assert len(spoken(page)) == 1

    def cancelled_by(key: str) -> int:
        before = int(page.evaluate("window.kept.cancelled"))
        page.keyboard.press(key)
        return int(page.evaluate("window.kept.cancelled")) - before

    assert cancelled_by("a") == 0
    assert cancelled_by("Escape") == 1
    expect(button).to_have_attribute("aria-pressed", "true")
    assert cancelled_by("Enter") == 1
    assert cancelled_by("s") == 1
    expect(button).to_have_attribute("aria-pressed", "false")
    page.reload()
    expect(button).to_have_attribute("aria-pressed", "false")
    page.keyboard.press("?")
    expect(page.locator("key-help dialog")).to_contain_text("speak the next act")


@pytest.mark.parametrize("voices", [(), (_REMOTE,), (_FOREIGN, _REMOTE)])
def test_no_voice_of_this_machine_says_nothing(
    context: BrowserContext, bench: Bench, voices: tuple[str, ...]
) -> None:
    """Control: a remote voice alone is never used, on though it be; the key says why."""
    with_voices(context, *voices)
    page, watch = signed_in_page(context, bench)
    page.goto(bench.address + PLACES[0])
    why = page.get_by_text("This machine has no English voice of its own")
    expect(page.get_by_role("button", name=_BUTTON)).to_be_hidden()
    expect(why).to_be_hidden()
    page.keyboard.press("s")
    expect(why).to_be_visible()
    page.evaluate("localStorage.setItem('canebench-speak', 'on')")
    page.evaluate("sessionStorage.setItem('canebench-take-sent', 'another')")
    page.reload()
    expect(why).to_be_visible()
    assert spoken(page) == []
    watch.assert_clean()


@pytest.mark.parametrize("pressed", [False, True])
def test_the_button_fits_the_one_screen(
    browser: Browser, season_bench: Bench, season_entry: StorageState, pressed: bool
) -> None:
    context = browser.new_context(reduced_motion="reduce", storage_state=season_entry)
    with_voices(context, _OURS)
    page, _ = watched_page(context, season_bench)
    for place in PLACES:
        page.goto(season_bench.address + place)
        page.evaluate(f"localStorage.setItem('canebench-speak', '{'on' if pressed else 'off'}')")
        page.reload()
        for size in SIZES:
            assert not_seen(page, size, ".since", "spoken-act button") == [], (place, size)
        assert violations(page) == []
    context.close()
