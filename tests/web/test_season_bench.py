"""The invented season served: on an address of its own, ended with the bench that it was opened from."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from contextlib import contextmanager
from http.cookiejar import CookieJar
from typing import TYPE_CHECKING
from urllib.error import HTTPError, URLError
from urllib.request import HTTPCookieProcessor, OpenerDirector, Request, build_opener

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_WAIT_S = 60.0


@contextmanager
def _running(folder: Path, *arguments: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A command that serves, with `folder` for whatever is one's own."""
    env = {**os.environ, "CANEBENCH_LEDGER": str(folder / "ledger.db")}
    command = [sys.executable, "-m", "canebench", *arguments, "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=env) as server:
        assert server.stdout is not None
        link = next((line.strip() for line in server.stdout if line.startswith("http")), "")
        try:
            assert link, "the server did not start"
            yield server, link
        finally:
            server.send_signal(signal.SIGINT)
            server.wait(timeout=_WAIT_S)


def _read(browser: OpenerDirector, address: str, *, post: bool = False) -> str:
    request = Request(address, data=b"" if post else None)  # noqa: S310 - of this machine
    if post:
        request.add_header("Origin", address.rpartition("/")[0])
    with browser.open(request, timeout=_WAIT_S) as answer:
        text: str = answer.read().decode()
    return text


def _browser() -> OpenerDirector:
    return build_opener(HTTPCookieProcessor(CookieJar()))


def test_demo_serve_makes_the_season_once_and_opens_it(tmp_path: Path) -> None:
    made = tmp_path / "invented-season" / "ledger.db"
    for _ in range(2):
        with _running(tmp_path, "demo", "--serve") as (_, link):
            page = _read(_browser(), link)
        assert "Invented season" in page
        assert "Ctrl-C" in page
        # From a season there is no way to another one.
        assert "/season" not in page
    assert made.is_file()
    assert not (tmp_path / "ledger.db").exists()


def test_the_season_from_the_page_has_its_own_address_and_ends_with_the_bench(tmp_path: Path) -> None:
    browser = _browser()
    with _running(tmp_path, "serve") as (server, link):
        _read(browser, link)
        own = link.partition("/enter")[0]
        page = _read(browser, f"{own}/season", post=True)
        (way,) = re.findall(r'href="(http[^"]+/enter\?key=[^"]+)"', page)
        address = way.partition("/enter")[0]
        assert address != own
        # Whoever has not come by the link stays out, and so does one who has signed in at home.
        with pytest.raises(HTTPError, match="401"):
            _read(browser, f"{address}/reeds")
        inside = _read(browser, way)
        assert f'href="{own}"' in inside
        assert "Three ways in" in _read(browser, own)
        # A second time it is the same one.
        assert address in _read(browser, f"{own}/season", post=True)
    assert server.returncode in (0, 130)
    with pytest.raises(URLError):
        _read(browser, address)
