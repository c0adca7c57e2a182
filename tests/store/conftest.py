"""Both places that a ledger can be in: a file, and a real server."""

from __future__ import annotations

import shutil
from itertools import count
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

from canebench.store.ledger import Ledger, open_ledger
from support.postgres_server import PostgresServer, postgres_server

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from support.ledgers import Clock

_NUMBERS = count(1)
DIALECTS = ["sqlite", "postgresql"]


@pytest.fixture(scope="session")
def server() -> Iterator[PostgresServer]:
    """One server for the whole run; where it does not start, every test that needs it fails and says why."""
    with postgres_server() as running:
        yield running


@pytest.fixture(scope="session")
def migrated_server(server: PostgresServer) -> str:
    """The name of a migrated database, to be copied."""
    url = server.new_database()
    open_ledger(url)
    return urlsplit(url).path.removeprefix("/")


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated file, to be copied."""
    path = tmp_path_factory.mktemp("migrated") / "ledger.db"
    open_ledger(str(path))
    return path


@pytest.fixture
def new_database(request: pytest.FixtureRequest) -> Iterator[Callable[[str | None], str]]:
    """A new database of the server, gone after the test: thousands of files each would fill the disk."""
    made = []

    def make(like: str | None) -> str:
        server: PostgresServer = request.getfixturevalue("server")
        made.append(server.new_database(like=like))
        return made[-1]

    yield make
    for url in made:
        request.getfixturevalue("server").drop(url)


@pytest.fixture
def empty_place(tmp_path: Path, new_database: Callable[[str | None], str]) -> Callable[[str], str]:
    """The URL of a place where no ledger is yet, by dialect."""

    def make(dialect: str) -> str:
        return str(tmp_path / f"ledger{next(_NUMBERS)}.db") if dialect == "sqlite" else new_database(None)

    return make


@pytest.fixture
def fresh(
    tmp_path: Path, request: pytest.FixtureRequest, new_database: Callable[[str | None], str]
) -> Callable[[str], str]:
    """The URL of a new ledger with nothing in it, by dialect; copied, which is quicker than migrating."""

    def make(dialect: str) -> str:
        if dialect != "sqlite":
            return new_database(request.getfixturevalue("migrated_server"))
        path = tmp_path / f"ledger{next(_NUMBERS)}.db"
        shutil.copyfile(request.getfixturevalue("migrated_file"), path)
        return str(path)

    return make


@pytest.fixture(params=DIALECTS)
def dialect(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def ledger(dialect: str, fresh: Callable[[str], str], clock: Clock) -> Ledger:
    """An empty ledger in either place."""
    return open_ledger(fresh(dialect), clock=clock)
