"""A real PostgreSQL for the tests: its own folder, a socket only, ended by its own number."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlsplit

import psycopg
from psycopg import sql

if TYPE_CHECKING:
    from collections.abc import Iterator

_READY_S: Final = 30.0
#: Kept in memory, where the machine has enough: a new database is some four hundred files, and to make one
#: takes a twentieth of the time that it takes on many a disk.
_MEMORY: Final = "/dev/shm"  # noqa: S108 - a folder of its own is made in it
_DISK: Final = "/tmp"  # noqa: S108 - as above
_ENOUGH_BYTES: Final = 2**30
_USER: Final = "canebench"


class PostgresServer:
    """A running server; every database of it is fresh."""

    def __init__(self, folder: Path, process: subprocess.Popen[bytes]) -> None:
        self.folder = folder
        self.process = process
        self._numbers = count(1)

    def url(self, database: str) -> str:
        """Where a database of this server is."""
        return f"postgresql://{_USER}@/{database}?host={self.folder}"

    def new_database(self, *, like: str | None = None) -> str:
        """The URL of a new database: empty, or a copy of another that nobody is connected to."""
        name = f"ledger{next(self._numbers)}"
        statement = sql.SQL("CREATE DATABASE {} TEMPLATE {}").format(
            sql.Identifier(name), sql.Identifier(like or "template0")
        )
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(statement)
        return self.url(name)

    def drop(self, url: str) -> None:
        """Away with a database, whoever is still connected."""
        name = urlsplit(url).path.removeprefix("/")
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def _tool(name: str) -> str:
    """Debian keeps the server's tools out of the way, by version; the newest counts."""
    found = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), key=_version)
    path = str(found[-1]) if found else shutil.which(name)
    if path is None:
        sentence = f"{name} is missing, so PostgreSQL cannot be tested: run scripts/system-packages"
        raise FileNotFoundError(sentence)
    return path


def _version(path: Path) -> float:
    return float(path.parts[-3])


def _unprivileged() -> dict[str, Any]:
    """The server refuses to run as root: there it runs as Debian's own user for it."""
    if os.getuid() != 0:
        return {}
    try:
        user = pwd.getpwnam("postgres")
    except KeyError as error:
        sentence = (
            "PostgreSQL does not run as root, and there is no user postgres: run scripts/system-packages"
        )
        raise RuntimeError(sentence) from error
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


@contextmanager
def postgres_server(*, fsync: bool = False) -> Iterator[PostgresServer]:
    """A server for as long as the context lasts. Where it does not start, an error says what it said."""
    run_as = _unprivileged()
    # A socket's path must be short: not below the folder of a test.
    folder = Path(tempfile.mkdtemp(prefix="pg", dir=_DISK if fsync else _quickest()))
    try:
        if run_as:
            os.chown(folder, run_as["user"], run_as["group"])
        _make_cluster(folder, run_as)
        with (folder / "log").open("wb") as log:
            process = subprocess.Popen(
                [
                    *(_tool("postgres"), "-D", str(folder / "data"), "-k", str(folder)),
                    *("-c", "listen_addresses=", "-c", f"fsync={'on' if fsync else 'off'}"),
                ],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                cwd=folder,
                **run_as,
            )
        server = PostgresServer(folder, process)
        try:
            _wait(server)
            yield server
        finally:
            _stop(process)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _quickest() -> str:
    """Where files that nothing is synced of are made soonest."""
    writable = os.access(_MEMORY, os.W_OK)
    return _MEMORY if writable and shutil.disk_usage(_MEMORY).free >= _ENOUGH_BYTES else _DISK


def _make_cluster(folder: Path, run_as: dict[str, Any]) -> None:
    options = ["-D", str(folder / "data"), "-U", _USER, "--auth=trust", "-E", "UTF8", "--no-sync"]
    done = subprocess.run(
        [_tool("initdb"), *options, "--locale=C.UTF-8"],
        capture_output=True,
        timeout=120,
        cwd=folder,
        check=False,
        **run_as,
    )
    if done.returncode:
        raise RuntimeError(f"PostgreSQL cannot make its folder: {done.stderr.decode(errors='replace')}")


def _wait(server: PostgresServer) -> None:
    until = time.monotonic() + _READY_S
    while True:
        try:
            psycopg.connect(server.url("postgres")).close()
        except psycopg.OperationalError as error:
            if server.process.poll() is not None or time.monotonic() > until:
                said = (server.folder / "log").read_text(errors="replace")
                raise RuntimeError(f"PostgreSQL did not start: {error}\n{said}") from error
            time.sleep(0.02)
        else:
            return


def _stop(process: subprocess.Popen[bytes]) -> None:
    """At once, whoever is still connected; the data are thrown away."""
    process.send_signal(signal.SIGQUIT)
    try:
        process.wait(timeout=20)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait(timeout=20)
