"""A ledger that another program keeps to itself: a page says so once the wait is over, and no later."""

from __future__ import annotations

import time
from contextlib import closing
from functools import partial
from typing import TYPE_CHECKING, Final

import pytest

from canebench.store import sqlite
from canebench.store.database import LedgerError
from canebench.web.pages import render
from canebench.web.routes import failures

if TYPE_CHECKING:
    from collections.abc import Iterator

    from starlette.applications import Starlette
    from starlette.testclient import TestClient

_WAIT_S: Final = 0.5


@pytest.fixture
def held(empty_app: Starlette, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """By a writer in the middle of its end, as on a disk that hangs."""
    monkeypatch.setattr(sqlite, "WAIT_S", _WAIT_S)
    with closing(sqlite.connect(empty_app.state.context.ledger.database.path)) as raw:
        raw.execute("BEGIN EXCLUSIVE")
        yield
        raw.execute("ROLLBACK")


@pytest.mark.usefixtures("held")
@pytest.mark.parametrize(("path", "form"), [("/reeds", None), ("/", None), ("/players", {"name": "Isla"})])
def test_a_page_says_that_the_ledger_is_held(
    empty_client: TestClient, path: str, form: dict[str, str] | None
) -> None:
    begun = time.monotonic()
    answer = empty_client.get(path) if form is None else empty_client.post(path, data=form)
    # Waited for once: neither the page with the form nor the one that says so waits again.
    assert _WAIT_S <= time.monotonic() - begun < 2 * _WAIT_S
    assert answer.status_code == 503
    assert "another program has held it" in answer.text
    assert "Nothing was changed" in answer.text
    assert ("send it again" in answer.text) == (form is not None)


@pytest.mark.usefixtures("held")
def test_control_a_page_of_failure_that_reads_says_nothing(
    empty_client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def reading(*given: object, **told: object) -> object:
        return render.show(*given, **{**told, "reads": True})  # type: ignore[arg-type]

    monkeypatch.setattr(failures, "show", partial(reading))
    with pytest.raises(LedgerError):
        empty_client.get("/reeds")


def test_once_it_is_let_go_the_page_is_there(empty_client: TestClient) -> None:
    assert empty_client.get("/reeds").status_code == 200
