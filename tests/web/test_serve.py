"""The server itself: on this machine alone, on a free port, until it is stopped."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager, suppress
from http.cookiejar import CookieJar
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.error import HTTPError
from urllib.request import HTTPCookieProcessor, Request, build_opener, urlopen

import pytest
from websockets.sync.client import connect
from websockets.typing import Origin

from canebench.base.errors import InputError
from canebench.web.live.streams import HEADER, MARK
from canebench.web.serve import serve

if TYPE_CHECKING:
    from collections.abc import Iterator


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


def _processes_of(group: int) -> set[int]:
    """Of a process group, those that still run."""
    found = set()
    for place in Path("/proc").glob("[0-9]*"):
        with suppress(OSError, IndexError):
            fields = (place / "stat").read_text().rsplit(")", 1)[1].split()
            if int(fields[2]) == group and fields[0] != "Z":
                found.add(int(place.name))
    return found


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are counted in /proc")
@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGTERM])
def test_no_process_outlives_the_server(tmp_path: Path, end: signal.Signals) -> None:
    """With a stream open and listened to: within five seconds of SIGTERM, and of a kill, none is left."""
    command = [sys.executable, "-m", "canebench", "serve", "--no-browser", "--ledger"]
    command += [str(tmp_path / "ledger.db"), "--new"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, start_new_session=True) as server:
        assert server.stdout is not None
        link = next(line.strip() for line in server.stdout if line.startswith("http"))
        jar = CookieJar()
        build_opener(HTTPCookieProcessor(jar)).open(link, timeout=60).close()
        (cookie,) = jar
        address = link.split("/enter")[0]
        with connect(
            address.replace("http", "ws") + "/live?rate=48000",
            origin=Origin(address),
            additional_headers={"Cookie": f"{cookie.name}={cookie.value}"},
        ) as socket_:
            silence = bytes(4 * 4_800)
            told = None
            for number in range(600):
                socket_.send(HEADER.pack(MARK, 0, number * 4_800) + silence)
                with suppress(TimeoutError):
                    told = socket_.recv(timeout=0.1)
                if told is not None:
                    break
            assert told is not None
            assert len(_processes_of(server.pid)) > 1
            server.send_signal(end)
            server.wait(timeout=5)
            until = time.monotonic() + 5
            while _processes_of(server.pid) and time.monotonic() < until:
                time.sleep(0.05)
            assert _processes_of(server.pid) == set()
