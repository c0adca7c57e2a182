"""Every page in every look at three widths, in three engines: axe-core, no sideways scroll, no complaint."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Final

import pytest

from browser.test_pages import THEMES
from support.chromium import Chromium
from support.engines import running_engine
from support.every_page import EVERY_PAGE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from support.running_bench import Bench
    from support.webdriver import SeenBrowser

#: Left out of the usual run: minutes for each engine, and packages that not every machine has.
pytestmark = pytest.mark.usefixtures("engines_asked_for")

WIDTHS: Final = (360, 768, 1440)
_OPEN: Final = "document.querySelectorAll('details').forEach((one) => { one.open = true; })"
#: The control: grey on grey that the looks have no hand in, a field without a label, and a box too wide.
_SPOIL: Final = """const [text, field, box] = ["p", "input", "div"].map((one) => document.createElement(one));
text.textContent = "hard to read";
Object.assign(text.style, { color: "#999", background: "#aaa" });
Object.assign(box.style, { width: "2000px", height: "1rem" });
document.querySelector("main").append(text, field, box);"""


@pytest.fixture(scope="module", params=["chromium", "firefox", "webkit"])
def engine(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[SeenBrowser]:
    if request.param == "chromium":
        context = request.getfixturevalue("browser").new_context(reduced_motion="reduce")
        yield Chromium(context)
        context.close()
    else:
        with running_engine(request.param, tmp_path_factory.mktemp(request.param)) as found:
            yield found


def choose(engine: SeenBrowser, look: str) -> None:
    engine.script("document.cookie = `canebench-theme=${arguments[0]}; path=/`", look)


def opened(engine: SeenBrowser, address: str, look: str) -> None:
    engine.goto(address)
    assert engine.script("return document.documentElement.dataset.theme") == look
    engine.script(_OPEN)


def found(engine: SeenBrowser, width: int) -> dict[str, list[str]]:
    """What is amiss at this width, by its kind."""
    engine.resize(width, 900)
    over = engine.sideways()
    sideways = [f"by {over} pixels"] if over else []
    return {"violations": engine.violations(), "sideways": sideways, "complaints": engine.complaints()}


def test_every_page_in_every_look(
    engine: SeenBrowser, bench: Bench, request: pytest.FixtureRequest, capsys: pytest.CaptureFixture[str]
) -> None:
    engine.goto(bench.link)
    amiss: dict[str, list[str]] = {}
    for look in THEMES:
        choose(engine, look)
        for path in EVERY_PAGE:
            opened(engine, bench.address + path, look)
            for width in WIDTHS:
                for kind, all_found in found(engine, width).items():
                    where = f"{path}, {look}, {width} wide: "
                    amiss.setdefault(kind, []).extend(where + one for one in all_found)
    name = request.node.callspec.params["engine"]
    counted = f"{len(EVERY_PAGE)} pages x {len(THEMES)} looks x {len(WIDTHS)} widths"
    told = ", ".join(f"{len(each)} {kind}" for kind, each in amiss.items())
    with capsys.disabled():
        sys.stdout.write(f"\n{name}: {counted}: {told}\n")
    assert not any(amiss.values()), "\n".join(one for each in amiss.values() for one in each)


@pytest.mark.parametrize("look", THEMES)
def test_what_is_amiss_would_be_found(engine: SeenBrowser, bench: Bench, look: str) -> None:
    engine.goto(bench.link)
    choose(engine, look)
    opened(engine, f"{bench.address}/care", look)
    engine.script(_SPOIL)
    engine.script("console.error('said by the control')")
    amiss = found(engine, 1440)
    kinds = {one.partition(" ")[0] for one in amiss["violations"]}
    assert kinds >= {"label", "color-contrast"}
    assert amiss["sideways"]
    assert "said by the control" in "".join(amiss["complaints"])
