"""A take by a real microphone path: a rendered scale is played into the browser and measured on the bench.

The microphone plays it over and over, so that a machine with other work to do hears later what it misses at
first; whatever is waited for comes, and how soon is no subject here.
"""

from __future__ import annotations

import re
import time
from collections import defaultdict
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from playwright.sync_api import expect

from canebench.base.units import hz_to_cents
from canebench.bench.acts.fitting.measure_take import measure_take
from canebench.sound.synth import render
from canebench.store.ledger import open_ledger
from canebench.store.records import PitchRecord, TakeRecord
from support.played_take import BUSY_MS, RECIPE
from support.running_bench import launched, signed_in_page

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Locator, Page, Playwright

    from support.running_bench import Bench, Watch

NOTES = ("low A", "C", "E", "high A")
SOME_NOTE = re.compile(rf"^({'|'.join(NOTES)})\b")
BOTH_AS = re.compile("low A.*high A")
OVER_60 = re.compile(r"^(6[1-9]|[7-9]\d|\d{3,})$")
#: How long to look for what cannot come, ms: longer than a note stands on the page.
LOOK_MS = 3_000
#: The system holds the sound for at least so long, ms.
HELD_MS = 300
#: Every block as it goes to the bench: its first sample's number, and how many they are.
_SENT = """window.sent = [];
const send = WebSocket.prototype.send;
WebSocket.prototype.send = function (data) {
    if (data instanceof ArrayBuffer) {
        window.sent.push([Number(new DataView(data).getBigUint64(8, true)), (data.byteLength - 16) / 4]);
    }
    return send.call(this, data);
};"""
#: A page that is told of notes and of the beam, keeps both to itself, and puts neither in its place.
_SHOWS_NOTHING = """const define = customElements.define.bind(customElements);
customElements.define = (name, made) => {
    if (name === "live-take") {
        made.prototype.now = function (told) { if (told.note) this.dataset.untold = told.note; };
        made.prototype.beam = function ({ notes }) { this.dataset.unlaid = notes.join(","); };
    }
    define(name, made);
};"""
#: What is missing by those numbers, and what the bench says of it. Breaks that only the phase tells are
#: counted by the bench alone.
_GAPS = r"""() => {
    const live = document.querySelector("live-take");
    const { context, track } = live.microphone;
    const said = live.querySelector("[data-place=gaps]").textContent;
    const digits = (pattern) => Number((said.match(pattern)?.[1] ?? "0").replace(/\D/g, ""));
    const gaps = window.sent.slice(1).map(([first], n) => first - window.sent[n][0] - window.sent[n][1]);
    const count = gaps.filter((gap) => gap !== 0).length;
    const frames = gaps.reduce((sum, gap) => sum + Math.max(0, gap), 0);
    const lost = (1000 * frames) / context.sampleRate;
    const unseen = digits(/^(.*) gaps?/) - count;
    const agree = unseen >= 0 && Math.abs(digits(/([^ ]*) ms lost/) - lost) <= 1;
    const still = [context.state, context.currentTime, track.readyState, window.sent.length];
    return { said, count, lost, unseen, agree, still };
}"""


@pytest.fixture
def page_that_hears(hearing: Browser, bench: Bench) -> Iterator[tuple[Page, Watch]]:
    context = hearing.new_context(permissions=["microphone"], viewport={"width": 1280, "height": 900})
    page, watch = signed_in_page(context, bench)
    yield page, watch
    context.close()
    watch.assert_clean()


def begin(page: Page) -> None:
    page.get_by_label("Reed needed").fill("77")
    page.get_by_label("Chanter needed").fill("the old one")
    page.get_by_role("button", name="Begin the fitting").click()
    expect(page.get_by_role("heading", name="A clean start")).to_be_visible()
    page.get_by_label("A firm hand seat").check()


def listening(page: Page) -> Locator:
    """A fitting begun, and its take being listened to."""
    begin(page)
    page.get_by_role("button", name="Listen", exact=True).click()
    return page.locator("live-take")


def note_shown(live: Locator, *, within_ms: int = BUSY_MS) -> None:
    """Wait until a note of the take stands on the page: which, is up to the moment one looks."""
    expect(live.locator("[data-place=note]")).to_contain_text(SOME_NOTE, timeout=within_ms)


def both_as_in_the_beam(live: Locator, *, within_ms: int = BUSY_MS) -> None:
    """Wait until the beam, which gathers notes, has low A and high A."""
    expect(live).to_have_attribute("data-notes", BOTH_AS, timeout=within_ms)


def played_once(live: Locator) -> None:
    """Wait until all of the take has come in."""
    expect(live.locator("[data-place=time]")).to_have_text(re.compile(r"^(9|\d\d+) s$"), timeout=BUSY_MS)


def test_from_the_microphone_to_the_beam(
    page_that_hears: tuple[Page, Watch], bench: Bench, season_copy: Path
) -> None:
    page, _ = page_that_hears
    live = listening(page)
    # Sound first, then pitch: silence would give a perfect nothing.
    expect(live.get_by_text("Level good")).to_be_visible(timeout=BUSY_MS)
    note_shown(live)
    both_as_in_the_beam(live)
    expect(live.get_by_role("img", name=re.compile("The beam so far"))).to_be_visible()
    expect(live).to_have_attribute("data-estimates", OVER_60, timeout=BUSY_MS)
    played_once(live)
    live.get_by_role("button", name="Stop and measure").click()
    expect(page.locator("#act-say")).to_be_visible(timeout=BUSY_MS)
    _assert_true(season_copy)
    assert bench.server.poll() is None


def test_a_page_that_hears_and_shows_nothing_is_caught(page_that_hears: tuple[Page, Watch]) -> None:
    """The control of what the take's test waits for: notes were analysed, and neither is satisfied."""
    page, _ = page_that_hears
    page.add_init_script(_SHOWS_NOTHING)
    live = listening(page)
    expect(live).to_have_attribute("data-untold", SOME_NOTE, timeout=BUSY_MS)
    expect(live).to_have_attribute("data-unlaid", BOTH_AS, timeout=BUSY_MS)
    with pytest.raises(AssertionError, match="expected to contain text"):
        note_shown(live, within_ms=LOOK_MS)
    with pytest.raises(AssertionError, match="to have attribute"):
        both_as_in_the_beam(live, within_ms=LOOK_MS)


def _assert_true(folder: Path) -> None:
    """What was kept is what was played; and the kept file measured by the command gives the same numbers."""
    truth = render(RECIPE)[1]
    ledger = open_ledger(str(folder / "ledger.db"))
    with ledger.reading() as reader:
        take = reader.rows(TakeRecord, order="-at", limit=1)[0]
        kept = {row.note: row.hz for row in reader.rows(PitchRecord, {"take_id": take.id})}
    assert set(kept) == set(NOTES)
    at, true_hz = RECIPE.lead_s, defaultdict[str, list[float]](list)
    for planned in RECIPE.notes:
        true_hz[planned.note].append(truth.chanter_hz(at + 0.3, at + planned.duration_s - 0.2))
        at += planned.duration_s
    for name, played_hz in true_hz.items():
        assert abs(hz_to_cents(kept[name], float(np.mean(played_hz)))) < 3.0, name
    again = measure_take(folder / "takes" / f"{take.recording_sha256}.flac").measurement
    for note in again.notes:
        assert abs(hz_to_cents(note.hz, kept[note.note])) <= 0.05
    assert not list((folder / "takes" / "unfinished").glob("*.wav"))


def test_thrown_away_it_is_gone_once_asked(page_that_hears: tuple[Page, Watch], season_copy: Path) -> None:
    page, _ = page_that_hears
    unfinished = season_copy / "takes" / "unfinished"
    live = listening(page)
    expect(live.get_by_text("Level good")).to_be_visible(timeout=BUSY_MS)
    page.once("dialog", lambda dialog: dialog.dismiss())
    live.get_by_role("button", name="Throw away").click()
    expect(live.get_by_role("button", name="Stop and measure")).to_be_visible()
    assert list(unfinished.glob("*.wav"))
    page.once("dialog", lambda dialog: dialog.accept())
    live.get_by_role("button", name="Throw away").click()
    expect(live.get_by_text("Nothing is kept of it")).to_be_visible()
    expect(live.get_by_role("button", name="Listen", exact=True)).to_be_focused()
    assert not list(unfinished.glob("*.wav"))


def test_a_page_left_in_the_middle_can_still_be_measured_without_scripts(
    page_that_hears: tuple[Page, Watch], hearing: Browser
) -> None:
    page, _ = page_that_hears
    live = listening(page)
    expect(live.get_by_text("Level good")).to_be_visible(timeout=BUSY_MS)
    played_once(live)
    where = page.url
    page.goto("about:blank")
    plain = hearing.new_context(java_script_enabled=False, storage_state=page.context.storage_state())
    left = plain.new_page()
    left.goto(where)
    left.get_by_label("A firm hand seat").check()
    left.get_by_text("Recordings that were not finished").click()
    expect(left.get_by_role("button", name=re.compile("Throw away the"))).to_be_hidden()
    left.get_by_role("button", name=re.compile(r"Measure the \d+ s")).click()
    expect(left.locator("#act-say")).to_be_visible(timeout=BUSY_MS)
    plain.close()


def test_sound_that_the_system_held_is_a_gap(page_that_hears: tuple[Page, Watch]) -> None:
    """What the page counts as missing the bench says is lost, whatever a busy machine loses besides.

    A system that holds the sound refuses to let it go on for as long as it holds it.
    """
    page, _ = page_that_hears
    page.add_init_script(_SENT)
    live = listening(page)
    note_shown(live)
    before = gaps_as_counted(page, least_ms=0)
    page.evaluate(
        """(held) => {
            const { context } = document.querySelector("live-take").microphone;
            const resume = context.resume.bind(context);
            // From when the sound stands: on a busy machine that is a while after it was asked for.
            let until = Infinity;
            context.addEventListener("statechange", () => {
                if (until === Infinity && context.state === "suspended") until = performance.now() + held;
            });
            context.resume = async () => {
                if (performance.now() < until) throw new DOMException("a call lasts", "InvalidStateError");
                await resume();
            };
            context.suspend();
        }""",
        HELD_MS,
    )
    after = gaps_as_counted(page, least_ms=before["lost"] + HELD_MS)
    assert after["count"] > before["count"]
    assert re.fullmatch(r"\d+ gaps?, .* ms lost; nothing is joined across one", after["said"])
    assert (before["said"] == "no gaps") == (before["count"] + before["unseen"] == 0)


def gaps_as_counted(page: Page, *, least_ms: float) -> dict[str, Any]:
    """Once at least so much is lost and the bench says what the page counted: how often, ms, the words."""
    until = time.monotonic() + BUSY_MS / 1_000
    while True:
        told: dict[str, Any] = page.evaluate(_GAPS)
        if told["agree"] and told["lost"] >= least_ms:
            return told
        if time.monotonic() > until:
            pytest.fail(f"not {least_ms:.0f} ms are lost, or it is not said: {told}")
        page.wait_for_timeout(100)


def test_permission_refused_is_said(playwright: Playwright, bench: Bench) -> None:
    options: Any = launched(("--use-fake-ui-for-media-stream=deny", "--use-fake-device-for-media-stream"))
    browser = playwright.chromium.launch(**options)
    page, _ = signed_in_page(browser.new_context(), bench)
    begin(page)
    page.get_by_role("button", name="Listen", exact=True).click()
    expect(page.get_by_text("not allowed to use the microphone")).to_contain_text("under “From a file”")
    expect(page.get_by_role("button", name="Listen", exact=True)).to_be_enabled()
    browser.close()


def test_no_microphone_is_said(browser: Browser, bench: Bench) -> None:
    context = browser.new_context(permissions=["microphone"])
    page, _ = signed_in_page(context, bench)
    begin(page)
    page.get_by_role("button", name="Listen", exact=True).click()
    expect(page.get_by_text("No microphone was found")).to_contain_text("under “From a file”")
    context.close()


def test_unplugged_in_the_middle_what_was_heard_is_measured(page_that_hears: tuple[Page, Watch]) -> None:
    page, _ = page_that_hears
    live = listening(page)
    note_shown(live)
    page.evaluate(
        """() => {
            const { track } = document.querySelector("live-take").microphone;
            track.stop();
            track.dispatchEvent(new Event("ended"));
        }"""
    )
    expect(page.locator("#act-say, [role=alert]").first).to_be_visible(timeout=BUSY_MS)


def test_processing_that_stays_on_is_said(page_that_hears: tuple[Page, Watch]) -> None:
    """A browser that does not do as it was asked: its answer is read back, not trusted."""
    page, _ = page_that_hears
    page.add_init_script(
        """MediaStreamTrack.prototype.getSettings = () => ({
            echoCancellation: true, noiseSuppression: false, sampleRate: 48000,
        });"""
    )
    begin(page)
    page.get_by_role("button", name="Listen", exact=True).click()
    said = page.get_by_role("status").filter(has_text="still uses echo cancellation")
    expect(said).to_be_visible()
    expect(said).to_contain_text("does not say whether it uses automatic gain")


def test_the_check_says_what_is_well_and_what_is_not(
    page_that_hears: tuple[Page, Watch], bench: Bench
) -> None:
    page, _ = page_that_hears
    page.goto(f"{bench.address}/microphone")
    page.get_by_role("button", name="Check", exact=True).click()
    check = page.locator("microphone-check")
    said = check.get_by_role("status")
    expect(said).to_contain_text(re.compile("All is well|To look at"), timeout=BUSY_MS)
    expect(check.locator("dd").filter(has_text=" Hz").first).to_be_visible()
    gaps = check.locator("[data-place=gaps]")
    expect(gaps).to_have_text(re.compile(r"^no gaps$|^\d+ gaps?(, .* ms lost)?; nothing is joined"))
    found = check.get_by_role("listitem").all_inner_texts()
    assert bool(found) == ("To look at" in said.inner_text())
    if any("Sound is lost" in one for one in found):
        expect(gaps).not_to_have_text("no gaps")
    check.get_by_role("button", name="End").click()
    expect(check.get_by_role("button", name="Check", exact=True)).to_be_focused()
