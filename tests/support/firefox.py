"""Firefox as Debian has it, driven by Marionette, which it speaks itself: no driver of its own is needed.

Source: Firefox Source Docs, "Marionette: Protocol" (level 3): length, colon, and [0, number, name, values]
for a command, [1, number, error, value] for its answer.
"""

from __future__ import annotations

import json
import os
import socket
import subprocess
import time
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from support.running_bench import WAIT_MS
from support.webdriver import Command, DrivenBrowser, DriverError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

FIREFOX: Final = Path("/usr/bin/firefox-esr")
#: Why a test of it is left out.
NO_FIREFOX: Final = "Firefox is not here: apt-get install firefox-esr"
#: A port of the system's choice, and silence towards the world: without these it looks for its maker's hosts.
_PREFERENCES: Final[Mapping[str, object]] = {
    "marionette.port": 0,
    "app.normandy.enabled": False,
    "app.update.enabled": False,
    "browser.aboutwelcome.enabled": False,
    "browser.safebrowsing.update.enabled": False,
    "browser.search.update": False,
    "browser.shell.checkDefaultBrowser": False,
    "browser.startup.page": 0,
    "captivedetect.canonicalURL": "",
    "datareporting.policy.dataSubmissionEnabled": False,
    "dom.push.connection.enabled": False,
    "extensions.systemAddon.update.enabled": False,
    "extensions.update.enabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "network.dns.disablePrefetch": True,
    "services.settings.server": "data:,",
    "toolkit.telemetry.enabled": False,
    "ui.prefersReducedMotion": 1,
}
_WIDTH: Final = """const { style } = gBrowser.selectedBrowser;
for (const [key, px] of Object.entries({ width: arguments[0], height: arguments[1] })) {
    style.setProperty(key, `${px}px`);
}
style.setProperty("flex", "none");"""
#: What scripts say themselves; the page's own process keeps it. What the browser says there is left out.
_SAID: Final = """const storage =
    Cc["@mozilla.org/consoleAPI-storage;1"].getService(Ci.nsIConsoleAPIStorage);
const said = storage.getEvents().filter(({ level, filename }) =>
    ["error", "warn"].includes(level) && !/^(chrome|resource):/.test(filename));
storage.clearEvents();
return said.map(({ level, arguments: all }) => `${level}: ${all.map(String).join(" ")}`);"""
#: What is said of scripts and rules; the browser's process has it of every page, those left behind too.
_TOLD: Final = """const told = Services.console.getMessageArray().filter((message) =>
    message instanceof Ci.nsIScriptError && !(message.flags & Ci.nsIScriptError.infoFlag)
    && /^https?:/.test(message.sourceName));
Services.console.reset();
return told.map((one) => `${one.category}: ${one.errorMessage} (${one.sourceName}:${one.lineNumber})`);"""


class Firefox(DrivenBrowser):
    """A Firefox that listens on a port."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=4 * WAIT_MS / 1_000)
        self._answers = self._socket.makefile("rb")
        self._count = 0
        self._read()
        self.call("WebDriver:NewSession", capabilities={})

    def call(self, name: str, **values: object) -> Any:
        """Send a command of Marionette's, and wait for its answer."""
        self._count += 1
        said = json.dumps([0, self._count, name, values]).encode()
        self._socket.sendall(b"%d:%b" % (len(said), said))
        _, number, error, value = self._read()
        assert number == self._count, (name, number)
        if error:
            raise DriverError(f"{name}: {error['error']}: {error['message']}")
        return value

    def send(self, command: Command, **values: object) -> Any:
        """Marionette takes an element's id among the values, as they are."""
        answer = self.call(command.name, **values)
        return answer.get("value") if isinstance(answer, dict) else answer

    def resize(self, width: int, height: int) -> None:
        """A window is never as narrow as a telephone: the page in it is."""
        self._inside(_WIDTH, width, height)
        until = time.monotonic() + WAIT_MS / 1_000
        while self.script("return innerWidth") != width:
            assert time.monotonic() < until, f"the page does not become {width} wide"

    def complaints(self) -> list[str]:
        """Out of both of its consoles: of what scripts say themselves, and of scripts and rules."""
        said = self.call("WebDriver:ExecuteScript", script=_SAID, args=[], sandbox="system")
        return [*said["value"], *self._inside(_TOLD)]

    def close(self) -> None:
        """End the browser."""
        self.call("Marionette:Quit", flags=["eForceQuit"])
        self._answers.close()
        self._socket.close()

    def _inside(self, body: str, *arguments: object) -> Any:
        """Run a script in the browser itself, not in the page."""
        self.call("Marionette:SetContext", value="chrome")
        try:
            return self.script(body, *arguments)
        finally:
            self.call("Marionette:SetContext", value="content")

    def _read(self) -> Any:
        length = b""
        while (digit := self._answers.read(1)) != b":":
            assert digit, "Firefox is gone"
            length += digit
        return json.loads(self._answers.read(int(length)))


@contextmanager
def running_firefox(
    folder: Path, preferences: Mapping[str, object], sound: Mapping[str, str]
) -> Iterator[Firefox]:
    """A Firefox of its own, with a profile in an empty folder; `sound` names the sound server."""
    written = {**_PREFERENCES, **preferences}
    lines = (f"user_pref({json.dumps(key)}, {json.dumps(value)});" for key, value in written.items())
    (folder / "user.js").write_text("\n".join(lines), encoding="utf-8")
    switches = ["--headless", "--no-remote", "--marionette", "--remote-allow-system-access"]
    environment = {**os.environ, **sound, "HOME": str(folder), "MOZ_CRASHREPORTER_DISABLE": "1"}
    with (
        (folder / "said.txt").open("wb") as said,
        subprocess.Popen(
            [str(FIREFOX), *switches, "--profile", str(folder)],
            stdout=said,
            stderr=subprocess.STDOUT,
            env=environment,
        ) as process,
    ):
        try:
            browser = Firefox(_port(folder, process))
            yield browser
            browser.close()
            process.wait(timeout=WAIT_MS / 1_000)
        finally:
            process.kill()


def _port(folder: Path, process: subprocess.Popen[bytes]) -> int:
    """Where it listens: it writes so into its profile."""
    where, until = folder / "MarionetteActivePort", time.monotonic() + WAIT_MS / 1_000
    while not (where.exists() and (port := where.read_text(encoding="utf-8"))):
        assert process.poll() is None, (folder / "said.txt").read_text(encoding="utf-8")
        assert time.monotonic() < until, "Firefox does not listen"
        time.sleep(0.05)
    return int(port)
