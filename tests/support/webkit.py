"""WebKit as Debian has it: a window of WebKitGTK (`webkit_window.py`), by its driver, on its own display.

It is the engine of Safari; what Safari builds around the engine is not in it.
"""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import time
import urllib.error
import urllib.request
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from support.running_bench import WAIT_MS
from support.webdriver import Command, DrivenBrowser, DriverError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

DRIVER: Final = Path("/usr/bin/WebKitWebDriver")
DISPLAY: Final = Path("/usr/bin/Xvfb")
#: Why a test of it is left out.
NO_WEBKIT: Final = "WebKit is not here: apt-get install webkit2gtk-driver gir1.2-webkit2-4.1 python3-gi xvfb"
#: Debian's own Python has the bindings of its libraries.
_PYTHON: Final = Path("/usr/bin/python3")
_BINDINGS: Final = "import gi; gi.require_version('Gtk', '3.0'); gi.require_version('WebKit2', '4.1')"
_WINDOW: Final = Command(name="WebDriver:SetWindowRect", method="POST", path="window/rect")
#: As WebKit writes them, after the place if it knows one: "CONSOLE SECURITY ERROR Refused to load ...".
_COMPLAINT: Final = re.compile(r"\bCONSOLE (?:\w+ )?(?:ERROR|WARN) ")


class WebKit(DrivenBrowser):
    """A session of the driver at an address; `said` is the file that its browser's console goes to."""

    def __init__(self, address: str, said: Path, switches: Sequence[str]) -> None:
        self._address, self._said, self._read = address, said, 0
        window = Path(__file__).with_name("webkit_window.py")
        options = {"binary": str(_PYTHON), "args": [str(window), *switches]}
        wanted = {"alwaysMatch": {"webkitgtk:browserOptions": options}}
        self._session = self._ask("POST", "session", {"capabilities": wanted})["sessionId"]

    def send(self, command: Command, **values: object) -> Any:
        """The id goes into the path."""
        path = command.path.format(id=values.pop("id", ""))
        return self._ask(command.method, f"session/{self._session}/{path}", values)

    def resize(self, width: int, height: int) -> None:
        """The window has no frame: it is as wide as the page."""
        until = time.monotonic() + WAIT_MS / 1_000
        self.send(_WINDOW, width=width, height=height)
        while self.script("return innerWidth") != width:
            assert time.monotonic() < until, f"the page does not become {width} wide"

    def complaints(self) -> list[str]:
        """Errors and warnings, as they stand in its output."""
        said = self._said.read_text(encoding="utf-8", errors="replace")
        new, self._read = said[self._read :], len(said)
        return [line for line in new.splitlines() if _COMPLAINT.search(line)]

    def close(self) -> None:
        """End the browser."""
        self._ask("DELETE", f"session/{self._session}", None)

    def _ask(self, method: str, path: str, values: object) -> Any:
        body = None if values is None else json.dumps(values).encode()
        asked = urllib.request.Request(f"{self._address}/{path}", data=body, method=method)  # noqa: S310
        try:
            with urllib.request.urlopen(asked, timeout=4 * WAIT_MS / 1_000) as answer:  # noqa: S310
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            with error:
                found = json.load(error)["value"]
            raise DriverError(f"{path}: {found['error']}: {found['message']}") from None


def webkit_is_here() -> bool:
    """Whether driver, display and bindings are here."""
    if not (DRIVER.exists() and DISPLAY.exists() and _PYTHON.exists()):
        return False
    return subprocess.run([str(_PYTHON), "-c", _BINDINGS], capture_output=True, check=False).returncode == 0


@contextmanager
def running_webkit(folder: Path, switches: Sequence[str] = ()) -> Iterator[WebKit]:
    """A browser of its own on a display of its own, with an empty folder to itself."""
    folder.mkdir(exist_ok=True)
    said = folder / "said.txt"
    homes = {f"XDG_{kind}_HOME": str(folder) for kind in ("CONFIG", "CACHE", "DATA")}
    port = _free_port()
    with _display() as display, said.open("wb") as heard:
        # A machine without a language of its own: a page must do in any.
        plain = {"LC_ALL": "C", "DISPLAY": display, "GDK_BACKEND": "x11", "NO_AT_BRIDGE": "1"}
        environment = {**os.environ, **homes, **plain}
        with subprocess.Popen(
            [str(DRIVER), f"--port={port}"], stdout=heard, stderr=subprocess.STDOUT, env=environment
        ) as driver:
            try:
                _until_listens(port, driver)
                browser = WebKit(f"http://127.0.0.1:{port}", said, switches)
                yield browser
                browser.close()
            finally:
                driver.terminate()


@contextmanager
def _display() -> Iterator[str]:
    """A screen that nobody sees, of which the system chooses the number."""
    heard, told = os.pipe()
    size = ["-screen", "0", "1600x1200x24", "-nolisten", "tcp"]
    with subprocess.Popen(
        [str(DISPLAY), "-displayfd", str(told), *size], pass_fds=[told], stderr=subprocess.DEVNULL
    ) as server:
        os.close(told)
        try:
            with os.fdopen(heard) as number:
                yield f":{number.readline().strip()}"
        finally:
            server.terminate()


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as held:
        return int(held.getsockname()[1])


def _until_listens(port: int, driver: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + WAIT_MS / 1_000
    while True:
        assert driver.poll() is None, "WebKit's driver ended"
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            assert time.monotonic() < until, "WebKit's driver does not listen"
            time.sleep(0.05)
        else:
            return
