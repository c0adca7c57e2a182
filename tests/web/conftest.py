"""The page on a ledger of its own."""

from __future__ import annotations

from shutil import copytree
from typing import TYPE_CHECKING

import pytest

from canebench.web.app import create_app
from canebench.web.context import open_context
from canebench.web.security.sign_in import SignIn
from support.web_client import HOST, PORT, signed_in

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from starlette.applications import Starlette
    from starlette.testclient import TestClient


@pytest.fixture
def entry() -> SignIn:
    return SignIn(PORT)


@pytest.fixture
def empty_app(tmp_path: Path, entry: SignIn) -> Starlette:
    """The page on a new ledger."""
    return create_app(open_context(str(tmp_path / "ledger.db"), "tester"), entry, hosts=[HOST])


@pytest.fixture
def app(tmp_path: Path, season: Path, entry: SignIn) -> Starlette:
    """The page on a copy of the season."""
    copytree(season, tmp_path / "season")
    return create_app(open_context(str(tmp_path / "season" / "ledger.db"), "tester"), entry, hosts=[HOST])


@pytest.fixture
def client(app: Starlette, entry: SignIn) -> Iterator[TestClient]:
    """Signed in on the season."""
    with signed_in(app, entry) as made:
        yield made


@pytest.fixture
def empty_client(empty_app: Starlette, entry: SignIn) -> Iterator[TestClient]:
    """Signed in on a new ledger."""
    with signed_in(empty_app, entry) as made:
        yield made
