"""The fitting and every page in two more engines, those of Firefox and of Safari, as Debian has them."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import pytest

from support.complaining_pages import PAGES, complaining_pages
from support.engines import running_engine
from support.every_page import EVERY_PAGE
from support.firefox import FIREFOX, NO_FIREFOX, running_firefox
from support.running_bench import WAIT_MS
from support.webdriver import ELEMENT
from support.webkit import NO_WEBKIT, running_webkit, webkit_is_here

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from support.running_bench import Bench
    from support.webdriver import DrivenBrowser

#: Left out of the usual run: they cost a minute, and packages that not every machine has.
pytestmark = pytest.mark.usefixtures("engines_asked_for")

WIDTHS = (360, 768, 1440)
#: What is said wherever a browser does not record.
OTHERWISE = "give the sound at the fitting, under “From a file”"
TYPED = {"low A": "475.2", "C": "590", "E": "711", "high A": "935"}


@pytest.fixture(scope="module", params=["firefox", "webkit"])
def engine(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[DrivenBrowser]:
    with running_engine(request.param, tmp_path_factory.mktemp(request.param)) as found:
        yield found


def begin(engine: DrivenBrowser, link: str) -> None:
    """Sign in, and begin a fitting."""
    engine.resize(1280, 900)
    engine.goto(link)
    engine.fill("Reed needed", "77")
    engine.fill("Chanter needed", "the old one")
    engine.press("button", "Begin the fitting")
    engine.find("h2", "A clean start")


def type_readings(engine: DrivenBrowser, typed: dict[str, str]) -> None:
    engine.press("input[type=radio]", "A firm hand seat")
    engine.press("summary", "Type what it reads")
    for note, hz in typed.items():
        engine.fill(note, hz)
    engine.press("button", "Take these readings")


def give_file(engine: DrivenBrowser, take: Path) -> None:
    engine.press("summary", "From a file")
    engine.choose_file("Sound file", take)
    engine.press("button", "Measure the file")
    engine.find("#act-say")


def test_a_fitting(engine: DrivenBrowser, bench: Bench, demo_take: Path) -> None:
    """Typed readings, the next act, taken back; a form that is refused; a take from a file."""
    begin(engine, bench.link)
    type_readings(engine, TYPED)
    engine.until_says("#act-say", "Seat the reed")
    engine.press("button", "Undo")
    engine.find("h2", "A clean start")
    assert engine.complaints() == []
    type_readings(engine, {"low A": "476.5", "E": "abc"})
    engine.until_says("[role=alert]", "a number is needed")
    assert engine.script("return arguments[0].value", _element(engine, "low A")) == "476.5"
    # Browsers may note as an error that a refused form answers 422.
    assert all("422" in said for said in engine.complaints())
    give_file(engine, demo_take)
    engine.press("summary", "Numbers")
    engine.until_says("main", "high A")
    assert engine.complaints() == []


def test_no_microphone_is_said(engine: DrivenBrowser, bench: Bench) -> None:
    """WebKit says of none at all what others say of one that is gone."""
    listen(engine, bench.link)
    engine.until_says("live-take", "No microphone was found")
    engine.until_says("live-take", OTHERWISE)


def test_where_webkit_gives_no_microphone_a_file_does(bench: Bench, tmp_path: Path, demo_take: Path) -> None:
    """What is said points to the fold of that name: it is there, and measures."""
    if not webkit_is_here():
        pytest.skip(NO_WEBKIT)
    with running_webkit(tmp_path / "webkit", ["enable-media-stream=false"]) as engine:
        listen(engine, bench.link)
        engine.until_says("live-take", "This browser gives pages no microphone")
        engine.until_says("live-take", OTHERWISE)
        give_file(engine, demo_take)


def test_where_firefox_refuses_the_microphone_a_file_does(
    bench: Bench, tmp_path: Path, demo_take: Path
) -> None:
    """WebKit refuses nothing to a page that is driven."""
    if not FIREFOX.exists():
        pytest.skip(NO_FIREFOX)
    refused = {"permissions.default.microphone": 2, "media.navigator.streams.fake": True}
    with running_firefox(tmp_path, refused, {}) as engine:
        listen(engine, bench.link)
        engine.until_says("live-take", "not allowed to use the microphone")
        engine.until_says("live-take", OTHERWISE)
        give_file(engine, demo_take)


def test_webkit_records(bench: Bench, tmp_path: Path) -> None:
    """From a microphone of its own, which beeps: it has no way to play a take into one."""
    if not webkit_is_here():
        pytest.skip(NO_WEBKIT)
    with running_webkit(tmp_path / "webkit", ["enable-mock-capture-devices=true"]) as engine:
        listen(engine, bench.link)
        engine.until_says("live-take [data-place=level]", "Level good")
        engine.until_says("live-take [data-place=time]", "5 s")
        assert engine.complaints() == []


def test_the_check_points_to_a_file_too(engine: DrivenBrowser, bench: Bench) -> None:
    engine.goto(bench.link)
    engine.goto(f"{bench.address}/microphone")
    engine.press("button", "Check")
    engine.until_says("microphone-check [role=status]", OTHERWISE)


def listen(engine: DrivenBrowser, link: str) -> None:
    begin(engine, link)
    engine.press("input[type=radio]", "A firm hand seat")
    engine.press("button", "Listen")


def test_every_page(engine: DrivenBrowser, bench: Bench) -> None:
    engine.goto(bench.link)
    amiss = []
    for path in EVERY_PAGE:
        engine.goto(bench.address + path)
        for width in WIDTHS:
            engine.resize(width, 800)
            if over := engine.sideways():
                amiss.append(f"{path} at {width} scrolls sideways by {over}")
            engine.script("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
            if over := engine.sideways():
                amiss.append(f"{path} at {width}, opened, scrolls sideways by {over}")
        amiss += [f"{path}: {found}" for found in engine.violations()]
        amiss += [f"{path}: {said}" for said in engine.complaints()]
        amiss += [f"{path} fetches {one}" for one in engine.elsewhere(bench.address)]
    assert amiss == []


def test_what_is_amiss_would_be_found(engine: DrivenBrowser, bench: Bench) -> None:
    """The control: too wide, and without a label."""
    engine.goto(bench.link)
    engine.script(
        """const field = document.createElement("input");
        field.style.width = "3000px";
        document.querySelector("main").append(field);"""
    )
    assert engine.sideways() > 0
    assert any(found.startswith("label") for found in engine.violations())


def test_each_complaint_is_read(engine: DrivenBrowser) -> None:
    """The control of every test without complaints: six pages that have one each, and one that has none."""
    with complaining_pages() as address:
        engine.goto(f"{address}/plain")
        engine.complaints()
        for name, (_, part) in PAGES.items():
            engine.goto(f"{address}/{name}")
            assert any(part in one for one in until_complains(engine)), name
        engine.goto(f"{address}/plain")
        assert engine.complaints() == []


def test_what_a_page_on_the_bench_may_not_fetch_is_read(engine: DrivenBrowser, bench: Bench) -> None:
    engine.goto(bench.link)
    assert engine.complaints() == []
    engine.script(
        """const picture = document.createElement("img");
        picture.src = "http://127.0.0.1:9/elsewhere.png";
        document.body.append(picture);"""
    )
    assert any("elsewhere.png" in one for one in until_complains(engine))


def until_complains(engine: DrivenBrowser) -> list[str]:
    """What the console says, once it says something."""
    until = time.monotonic() + WAIT_MS / 1_000
    while not (said := engine.complaints()):
        assert time.monotonic() < until, "the console says nothing"
        time.sleep(0.05)
    return said


def _element(engine: DrivenBrowser, label: str) -> dict[str, str]:
    return {ELEMENT: engine.find("input", label)}
