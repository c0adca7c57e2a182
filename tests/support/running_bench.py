"""The bench as its users have it: `canebench serve` in its own process, and a real browser that signs in."""

from __future__ import annotations

import signal
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Protocol
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from playwright.sync_api import BrowserContext, ConsoleMessage, Page, Request

CHROMIUM: Final = "/usr/bin/chromium"
#: Headless, and silent towards the world: without these a browser looks for its maker's hosts.
SWITCHES: Final = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
)
#: So long is waited for what comes at once on an idle machine; a busy one takes its time.
WAIT_MS: Final = 60_000


class Server(Protocol):
    """A process that serves, as `subprocess` has it."""

    @property
    def pid(self) -> int:
        """Its number."""
        ...

    def poll(self) -> int | None:
        """How it ended; None while it runs."""
        ...

    def send_signal(self, number: int, /) -> None:
        """To a process that still runs."""
        ...

    def wait(self, timeout: float) -> int:
        """How it ended, within so many seconds."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A bench that is being served; `link` signs one browser in."""

    server: Server
    link: str

    @property
    def address(self) -> str:
        """Scheme, host and port."""
        found = urlsplit(self.link)
        return f"{found.scheme}://{found.netloc}"


@contextmanager
def serving(ledger: Path) -> Iterator[Bench]:
    """Serve the ledger until the end of the block."""
    command = [sys.executable, "-m", "canebench", "serve", "--no-browser", "--who", "tester"]
    with subprocess.Popen(
        [*command, "--new", "--ledger", str(ledger)], stdout=subprocess.PIPE, text=True
    ) as server:
        assert server.stdout is not None
        link = next((line.strip() for line in server.stdout if line.startswith("http")), "")
        try:
            assert link, "the server did not start"
            yield Bench(server=server, link=link)
        finally:
            server.send_signal(signal.SIGINT)
            server.wait(timeout=WAIT_MS / 1_000)


@dataclass
class Watch:
    """What a page must not do: say errors, ask for anything elsewhere, fail to get what it asks for."""

    address: str
    errors: list[str] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)

    def on(self, page: Page) -> None:
        """Watch this page."""
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("request", self._request)

    def clear(self) -> None:
        """Forget what was seen."""
        self.errors.clear()
        self.outside.clear()

    def assert_clean(self, where: str = "") -> None:
        """Nothing of the kind was seen."""
        assert not self.errors, (where, self.errors)
        assert not self.outside, (where, self.outside)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.errors.append(f"{message.type}: {message.text}")

    def _request(self, request: Request) -> None:
        if not request.url.startswith((self.address, self.address.replace("http", "ws"), "data:", "blob:")):
            self.outside.append(request.url)


def watched_page(context: BrowserContext, bench: Bench) -> tuple[Page, Watch]:
    """A page of a browser that has signed in before."""
    context.set_default_timeout(WAIT_MS)
    page, watch = context.new_page(), Watch(address=bench.address)
    watch.on(page)
    return page, watch


def signed_in_page(context: BrowserContext, bench: Bench) -> tuple[Page, Watch]:
    """A page of a browser that has come by a link, which signs in once."""
    page, watch = watched_page(context, bench)
    page.goto(bench.link)
    return page, watch


def launched(switches: Sequence[str] = ()) -> dict[str, object]:
    """How the browser is started."""
    return {"executable_path": CHROMIUM, "args": [*SWITCHES, *switches], "headless": True}
