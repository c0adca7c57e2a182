"""Browsers that are driven as the W3C's WebDriver says, whatever carries its commands.

Source: WebDriver, W3C Recommendation of 5 June 2018, sections 8 to 18. What is looked for on a page is looked
for by scripts here, by the words that a person reads.
"""

from __future__ import annotations

import time
from abc import ABC, abstractmethod
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from support.running_bench import WAIT_MS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

#: axe-core (MPL-2.0, for tests only), as a package of ours for tests brings it.
AXE: Final = files("axe_playwright_python") / "axe.min.js"
#: By which an element is known in JSON: WebDriver, section 11.
ELEMENT: Final = "element-6066-11e4-a52e-4f735466cecf"
_POLL_S: Final = 0.1
#: The first element of this kind that is shown and has this name: by all of it, else by a part of it.
_FIND: Final = """
const [css, name] = arguments;
const plain = (text) => (text ?? "").replace(/\\s+/g, " ").trim();
const names = (one) => [one.getAttribute("aria-label"), one.textContent,
    ...Array.from(one.labels ?? [], (label) => label.textContent)].map(plain);
const shown = Array.from(document.querySelectorAll(css)).filter((one) => one.getClientRects().length);
return shown.find((one) => names(one).includes(name))
    ?? shown.find((one) => names(one).some((said) => said.includes(name))) ?? null;
"""
_RUN_AXE: Final = """
return axe.run(document, {resultTypes: ["violations"]}).then((found) => found.violations.map(
    (one) => [one.id, ...one.nodes.slice(0, 3).map((node) => node.html.slice(0, 200))].join(" | ")));
"""


class DriverError(Exception):
    """The browser refuses a command: the error's code and its sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """A command by its name in Marionette, and by method and path over HTTP (`{id}` for an element's)."""

    name: str
    method: str
    path: str


NAVIGATE: Final = Command(name="WebDriver:Navigate", method="POST", path="url")
EXECUTE: Final = Command(name="WebDriver:ExecuteScript", method="POST", path="execute/sync")
CLICK: Final = Command(name="WebDriver:ElementClick", method="POST", path="element/{id}/click")
CLEAR: Final = Command(name="WebDriver:ElementClear", method="POST", path="element/{id}/clear")
KEYS: Final = Command(name="WebDriver:ElementSendKeys", method="POST", path="element/{id}/value")


class SeenBrowser(ABC):
    """One window of a browser that is looked at, and what it complained of."""

    @abstractmethod
    def goto(self, url: str) -> None:
        """Open a page, and wait until it is loaded."""

    @abstractmethod
    def script(self, body: str, *arguments: object) -> Any:
        """What the body of a function returns; a promise is waited for."""

    @abstractmethod
    def resize(self, width: int, height: int) -> None:
        """So wide and high is the page itself from now on, CSS pixels."""

    @abstractmethod
    def complaints(self) -> list[str]:
        """What the console says of pages since it was asked last: errors and warnings."""

    def sideways(self) -> int:
        """By so many pixels the page is wider than its window."""
        root = "document.documentElement"
        return int(self.script(f"return {root}.scrollWidth - {root}.clientWidth"))

    def elsewhere(self, address: str) -> Sequence[str]:
        """What the page has fetched that is not ours."""
        fetched = self.script("return performance.getEntriesByType('resource').map((one) => one.name)")
        return [one for one in fetched if not one.startswith((address, "data:", "blob:"))]

    def violations(self) -> list[str]:
        """What axe-core finds, each with its first places."""
        return list(self.script(AXE.read_text(encoding="utf-8") + _RUN_AXE))


class DrivenBrowser(SeenBrowser):
    """A window that one can type and press in too."""

    @abstractmethod
    def send(self, command: Command, **values: object) -> Any:
        """Have it done; its value."""

    def goto(self, url: str) -> None:
        """Open a page, and wait until it is loaded."""
        self.send(NAVIGATE, url=url)

    def script(self, body: str, *arguments: object) -> Any:
        """What the body of a function returns; a promise is waited for."""
        return self.send(EXECUTE, script=body, args=list(arguments))

    def find(self, css: str, name: str = "") -> str:
        """Wait for what is shown, is of this kind and has this name; its id."""
        until = time.monotonic() + WAIT_MS / 1_000
        while time.monotonic() < until:
            found = self._looked(_FIND, css, name)
            if found:
                return str(found[ELEMENT])
            time.sleep(_POLL_S)
        raise AssertionError(f"no {css} {name!r} is shown: {self.text('main')[:2_000]}")

    def press(self, css: str, name: str) -> None:
        """Click it."""
        self.send(CLICK, id=self.find(css, name))

    def fill(self, label: str, text: str) -> None:
        """Type into the field of this label, in place of what is there."""
        field = self.find("input", label)
        self.send(CLEAR, id=field)
        self.send(KEYS, id=field, text=text)

    def choose_file(self, label: str, path: Path) -> None:
        """Give the field of this label a file."""
        self.send(KEYS, id=self.find("input[type=file]", label), text=str(path))

    def text(self, css: str) -> str:
        """What the first such element says; nothing where there is none."""
        return str(self._looked("return document.querySelector(arguments[0])?.innerText ?? ''", css) or "")

    def attribute(self, css: str, name: str) -> str:
        """An attribute of the first such element; nothing where there is none."""
        asked = "return document.querySelector(arguments[0])?.getAttribute(arguments[1]) ?? ''"
        return str(self._looked(asked, css, name) or "")

    def until_says(self, css: str, words: str, *, within_s: float = WAIT_MS / 1_000) -> None:
        """Wait until the first such element says so."""
        until = time.monotonic() + within_s
        while words not in (said := self.text(css)):
            assert time.monotonic() < until, f"{css} says {said!r}, not {words!r}"
            time.sleep(_POLL_S)

    def _looked(self, body: str, *arguments: object) -> Any:
        """What a script returns; nothing while one page goes and another comes."""
        try:
            return self.script(body, *arguments)
        except DriverError:
            return None
