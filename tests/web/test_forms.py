"""Forms: numbers as people type them, limits, and answers that lose nothing."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING, NoReturn

import pytest

from canebench.base.errors import InputError
from canebench.store.sqlite import Sqlite
from canebench.web.forms.forms import Form
from canebench.web.routes.shell import own_path

if TYPE_CHECKING:
    from starlette.testclient import TestClient


def form(**texts: str) -> Form:
    return Form(texts=texts, files={}, lists={})


@pytest.mark.parametrize(
    ("given", "value"),
    [("1.5", 1.5), ("1,5", 1.5), ("\u22122", -2.0), ("1e3", 1000.0), ("", None)],
)
def test_numbers(given: str, value: float | None) -> None:
    assert form(x=given).number("x", "x") == value


@pytest.mark.parametrize("given", ["abc", "1.2.3", "nan", "inf", "1e999", "1 000"])
def test_what_is_no_number(given: str) -> None:
    with pytest.raises(InputError, match="a number is needed"):
        form(x=given).number("x", "x")


def test_whole_numbers() -> None:
    assert form(x="12").count("x", "x") == 12
    with pytest.raises(InputError, match="whole number"):
        form(x="1.5").count("x", "x")


def test_needed_and_ticked() -> None:
    assert form(x="a").needed("x", "X") == "a"
    with pytest.raises(InputError, match="it is needed here"):
        form(x="").needed("x", "X")
    assert form(x="on").ticked("x")
    assert not form().ticked("x")


def test_a_text_too_long_is_refused_in_words(client: TestClient) -> None:
    answer = client.post("/fit", data={"reed": "9" * 3_000, "chanter": "my old chanter"})
    assert answer.status_code == 422
    assert "at most 2000" in answer.text
    # Nothing else that was typed is lost.
    assert 'value="my old chanter"' in answer.text


def test_too_many_fields_are_refused(client: TestClient) -> None:
    answer = client.post("/fit", data={f"f{i}": "x" for i in range(300)})
    assert answer.status_code in (400, 422)


@pytest.mark.parametrize(
    ("given", "path"),
    [
        ("/reeds?state=new", "/reeds?state=new"),
        ("//elsewhere.example", "/"),
        ("/\\elsewhere.example", "/"),
        ("https://elsewhere.example", "/"),
        ("/a\r\nSet-Cookie: x", "/"),
        (None, "/"),
    ],
)
def test_own_path(given: str | None, path: str) -> None:
    assert own_path(given) == path


def test_the_look_is_kept_in_a_cookie_alone(client: TestClient) -> None:
    assert 'data-theme="system"' in client.get("/").text
    client.post("/theme", data={"theme": "dim", "back": "/"})
    assert 'data-theme="dim"' in client.get("/").text
    client.post("/theme", data={"theme": "<b>", "back": "/"})
    assert 'data-theme="dim"' in client.get("/").text


def test_the_size_of_text_is_kept_beside_the_look(client: TestClient) -> None:
    """One form holds both; what is no size of ours changes nothing."""
    assert 'data-text="normal"' in client.get("/").text
    client.post("/theme", data={"theme": "dark", "text": "largest", "back": "/"})
    assert 'data-theme="dark" data-text="largest"' in client.get("/").text
    client.post("/theme", data={"theme": "dark", "text": "<b>", "back": "/"})
    assert 'data-theme="dark" data-text="largest"' in client.get("/").text
    client.post("/theme", data={"theme": "dark", "text": "normal", "back": "/"})
    assert 'data-text="normal"' in client.get("/").text


def test_a_full_disk_is_the_benchs_fault_and_said(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Control: with room on the disk the same form goes through."""
    given = {"name": "Ailsa of the full disk"}

    def full(database: Sqlite) -> NoReturn:
        raise database.told(_full())

    with monkeypatch.context() as patched:
        patched.setattr(Sqlite, "write", full)
        refused = client.post("/players", data=given)
    assert refused.status_code == 500
    assert "the disk is full. Nothing was changed." in refused.text
    assert client.post("/players", data=given, follow_redirects=False).status_code == 303


def _full() -> sqlite3.Error:
    error = sqlite3.OperationalError("database or disk is full")
    error.sqlite_errorname = "SQLITE_FULL"
    return error
