"""Chromium, looked at as the other engines are; it is driven by Playwright."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from support.running_bench import WAIT_MS, Watch
from support.webdriver import SeenBrowser

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext


class Chromium(SeenBrowser):
    """One page of a context of its own."""

    def __init__(self, context: BrowserContext) -> None:
        context.set_default_timeout(WAIT_MS)
        self._page, self._watch = context.new_page(), Watch(address="http")
        self._watch.on(self._page)

    def goto(self, url: str) -> None:
        """Open a page, and wait until it is loaded."""
        self._page.goto(url)

    def script(self, body: str, *arguments: object) -> Any:
        """A function of that body, over the page's own policy."""
        called = f"(given) => (function () {{ {body} }}).apply(null, given)"
        return self._page.evaluate(called, list(arguments))

    def resize(self, width: int, height: int) -> None:
        """The page has this size at once."""
        self._page.set_viewport_size({"width": width, "height": height})

    def complaints(self) -> list[str]:
        """Errors and warnings of its console, and what scripts throw."""
        said = list(self._watch.errors)
        self._watch.clear()
        return said
