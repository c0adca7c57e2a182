"""Two hundred payloads in every free text, every page opened in a real browser: none of them runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import pytest

from canebench.store.ledger import open_ledger
from support.forked_bench import serving
from support.hostile_ledger import fill
from support.payloads import payloads
from support.running_bench import signed_in_page

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from support.running_bench import Bench

#: What a payload calls if it runs; a dialogue or a frame would tell as well.
_TRAP: Final = "window.hits = []; window.ran = (n) => { window.hits.push(n); };"
_LISTS: Final = (
    "/",
    "/history",
    "/reeds",
    "/players",
    "/chanters",
    "/takes",
    "/care",
    "/exchange",
    "/choose",
)


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    path: Path = tmp_path_factory.mktemp("hostile") / "ledger.db"
    fill(open_ledger(str(path)), payloads())
    with serving(path) as bench:
        yield bench


@pytest.fixture(scope="module")
def page(browser: Browser, hostile: Bench) -> Iterator[Page]:
    context = browser.new_context()
    context.add_init_script(_TRAP)
    found, _ = signed_in_page(context, hostile)
    found.on("dialog", lambda dialog: dialog.dismiss())
    yield found
    context.close()


@pytest.mark.parametrize("path", _LISTS)
def test_no_list_runs_one(page: Page, hostile: Bench, path: str) -> None:
    page.goto(hostile.address + path)
    assert page.evaluate("window.hits") == []


@pytest.mark.parametrize(
    "path", ["/reeds/{n}", "/takes/{n}", "/chanters/{n}", "/players/{n}", "/fit/{n}/{n}"]
)
def test_no_page_runs_one(page: Page, hostile: Bench, path: str) -> None:
    for n in range(1, len(payloads()) + 1, 40 if path.startswith("/chanters") else 16):
        page.goto(hostile.address + path.format(n=n))
        # Whatever waits for a pointer or the focus is offered one.
        page.mouse.move(200, 200)
        page.keyboard.press("Tab")
        assert page.evaluate("window.hits") == [], (path, n)


def test_a_payload_that_runs_would_be_seen(page: Page, hostile: Bench) -> None:
    """The control: the trap works, and the policy is what stops a payload that got into the page."""
    page.goto(hostile.address + "/help")
    page.evaluate("ran(1)")
    assert page.evaluate("window.hits") == [1]
    stopped = page.evaluate(
        """() => new Promise((stopped) => {
            document.addEventListener("securitypolicyviolation", (event) => stopped(event), { once: true });
            document.body.insertAdjacentHTML("beforeend", "<img src=x onerror=ran(2)>");
        }).then((event) => event.effectiveDirective)"""
    )
    assert stopped.startswith("script-src")
    assert page.evaluate("window.hits") == [1]
