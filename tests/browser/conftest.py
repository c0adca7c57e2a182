"""A real browser for the whole run, and benches that it opens."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path
from shutil import copytree
from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import Browser, Playwright, expect, sync_playwright

from canebench.bench.acts.fitting.measure_take import DEMO_FILE
from support.forked_bench import serving
from support.played_take import FAKE, write_played
from support.running_bench import WAIT_MS, Bench, Watch, launched, signed_in_page

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import BrowserContext, Page, StorageState


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as running:
        expect.set_options(timeout=WAIT_MS)
        yield running


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    options: Any = launched()
    found = playwright.chromium.launch(**options)
    yield found
    found.close()


@pytest.fixture(scope="session")
def played(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A take for a microphone to play."""
    path = tmp_path_factory.mktemp("played") / "scale.wav"
    write_played(path)
    return path


@pytest.fixture(scope="session")
def hearing(playwright: Playwright, played: Path) -> Iterator[Browser]:
    """A browser whose microphone plays the take over and over."""
    options: Any = launched((*FAKE, f"--use-file-for-fake-audio-capture={played}"))
    found = playwright.chromium.launch(**options)
    yield found
    found.close()


@pytest.fixture(scope="session")
def season_bench(season: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A copy of the season, served for pages that are only looked at."""
    seen = copytree(season, tmp_path_factory.mktemp("seen") / "season")
    with serving(Path(seen) / "ledger.db") as bench:
        yield bench


@pytest.fixture(scope="session")
def season_entry(browser: Browser, season_bench: Bench) -> StorageState:
    """What a browser holds that has signed in there: its link does that once."""
    context = browser.new_context()
    signed_in_page(context, season_bench)
    held = context.storage_state()
    context.close()
    return held


@pytest.fixture
def season_copy(tmp_path: Path, season: Path) -> Path:
    """A copy of the season's folder, to be changed."""
    return Path(copytree(season, tmp_path / "season"))


@pytest.fixture
def bench(season_copy: Path) -> Iterator[Bench]:
    """The copy, served."""
    with serving(season_copy / "ledger.db") as running:
        yield running


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    made = browser.new_context(viewport={"width": 1280, "height": 900})
    yield made
    made.close()


@pytest.fixture
def open_page(context: BrowserContext, bench: Bench) -> Iterator[tuple[Page, Watch]]:
    """A signed-in page on a copy of the season; it must end without an error or an outside request."""
    page, watch = signed_in_page(context, bench)
    yield page, watch
    watch.assert_clean()


@pytest.fixture(scope="session")
def demo_take() -> Iterator[Path]:
    """The bundled take: rendered by this package, with known truth."""
    with as_file(files("canebench") / "demo" / DEMO_FILE) as path:
        yield path


@pytest.fixture(scope="session")
def engines_asked_for(request: pytest.FixtureRequest) -> None:
    """Other engines are driven only where that is asked for."""
    if not request.config.getoption("engines"):
        pytest.skip("other browsers and a sound server are left out: scripts/engines")
