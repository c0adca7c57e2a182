"""The server itself: on this machine alone, on a free port, until it is stopped."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING
from urllib.error import HTTPError
from urllib.request import HTTPCookieProcessor, Request, build_opener, urlopen

import pytest

from canebench.base.errors import InputError
from canebench.web.serve import serve

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@contextmanager
def serving(ledger: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    command = [sys.executable, "-m", "canebench", "serve", "--no-browser", "--ledger", str(ledger), "--new"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        link = next((line.strip() for line in server.stdout if line.startswith("http")), "")
        try:
            yield server, link
        finally:
            server.send_signal(signal.SIGINT)
            server.wait(timeout=60)


def test_the_link_opens_the_page_of_this_machine(tmp_path: Path) -> None:
    with serving(tmp_path / "ledger.db") as (server, link):
        assert re.fullmatch(r"http://127\.0\.0\.1:\d+/enter\?key=[\w-]{40,}", link)
        with build_opener(HTTPCookieProcessor()).open(Request(link), timeout=60) as answer:  # noqa: S310
            assert "Begin the fitting" in answer.read().decode()
        with pytest.raises(HTTPError, match="401"):
            urlopen(link, timeout=60)  # noqa: S310 - the link is of this machine
        port = int(link.split(":")[2].split("/")[0])
        others = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
        for address in others - {"127.0.0.1"}:
            with socket.socket() as outside:
                assert outside.connect_ex((str(address), port)) != 0 or str(address).startswith("127.")
    assert server.returncode in (0, 130)


def test_a_port_in_use_is_said(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(InputError, match="port"):
            serve(ledger_url=str(tmp_path / "l.db"), who=None, port=port, ready=print)
    with pytest.raises(InputError, match="port"):
        serve(ledger_url=str(tmp_path / "l.db"), who=None, port=70_000, ready=print)


def test_the_help_of_serve_needs_no_server() -> None:
    code = "import sys; from canebench.cli.upkeep.serve import command; sys.exit('uvicorn' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], env=os.environ, check=False)
    assert done.returncode == 0
