"""Two hundred payloads in every free text of every row: no page takes one for anything but text.

Here every page is read as HTML; `tests/browser/test_injection.py` opens them in a browser.
"""

from __future__ import annotations

from html.parser import HTMLParser
from typing import TYPE_CHECKING, Final

import pytest

from canebench.web.app import create_app
from canebench.web.context import open_context
from support.hostile_ledger import fill
from support.payloads import payloads
from support.web_client import HOST, signed_in

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from starlette.testclient import TestClient

    from canebench.web.security.sign_in import SignIn

#: Pages that show many rows, and those of single ones, by the number of payloads.
_LISTS: Final = ("/", "/history", "/reeds", "/lots", "/players", "/chanters", "/takes", "/care", "/exchange")
_ONES: Final = ("/reeds/{n}", "/players/{n}", "/chanters/{n}", "/takes/{n}", "/fit/{n}/{n}", "/lots/{n}")
_LINKS: Final = ("href", "src", "action", "formaction", "data", "xlink:href", "srcdoc")
#: Scripts and sheets of ours; whatever else could load something is not in our templates.
_NEVER: Final = ("iframe", "object", "embed", "base", "style", "math", "frame", "applet")


class Running(HTMLParser):
    """Whatever in a page could run."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what could run."""
        told = dict(attrs)
        if tag in _NEVER or (tag == "script" and not _ours(told)):
            self.found.append(f"<{tag} {told}>")
        for name, value in attrs:
            text = (value or "").strip().lower()
            if name.startswith("on") or name == "style":
                self.found.append(f"{tag} {name}")
            if name in _LINKS and not text.startswith(("/", "#", "?", "http://127.0.0.1")) and text:
                self.found.append(f"{tag} {name}={value}")


def _ours(told: dict[str, str | None]) -> bool:
    return (told.get("src") or "").startswith("/static/") or told.get("type") == "application/json"


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    context = open_context(str(tmp_path_factory.mktemp("hostile") / "ledger.db"), "tester")
    fill(context.ledger, payloads())
    return context.takes.parent / "ledger.db"


@pytest.fixture
def hostile_client(hostile: Path, entry: SignIn) -> Iterator[TestClient]:
    with signed_in(create_app(open_context(str(hostile), "tester"), entry, hosts=[HOST]), entry) as made:
        yield made


@pytest.mark.parametrize("path", _LISTS)
def test_no_list_runs_a_payload(hostile_client: TestClient, path: str) -> None:
    _check(hostile_client, path)


@pytest.mark.parametrize("path", _ONES)
def test_no_single_page_runs_a_payload(hostile_client: TestClient, path: str) -> None:
    # A chanter's page takes a fifth of a second, and every payload stands in the lists too.
    step = {"/reeds/{n}": 1, "/chanters/{n}": 40}.get(path, 7)
    for n in range(1, len(payloads()) + 1, step):
        _check(hostile_client, path.format(n=n))


def test_no_form_shows_a_payload_again_as_more_than_text(hostile_client: TestClient) -> None:
    for place, text in enumerate(payloads()):
        typed = {"how": "typed", "typed-E": text, "since": text, "scale": text}
        begun = {"reed": "", "chanter": text, "player": text}
        # A page takes a twentieth of a second: each payload goes to one of the three, kinds lie mixed.
        match place % 3:
            case 0:
                answer = hostile_client.post("/fit", data=begun)
            case 1:
                answer = hostile_client.post("/fit/1/1/take", data=typed)
            case _:
                answer = hostile_client.get("/", params={"reed": text, "did": text})
        assert _running(answer.text) == [], (place % 3, text)


def test_what_would_run_is_seen() -> None:
    """The control: unescaped, almost every payload that is HTML would be found."""
    seen = [text for text in payloads() if _running(f"<p>{text}</p>") or _running(f'<input value="{text}">')]
    assert len(seen) > 100


def _check(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code in (200, 422), (path, answer.status_code, answer.text[:300])
    assert _running(answer.text) == [], path


def _running(html: str) -> list[str]:
    seen = Running()
    seen.feed(html)
    seen.close()
    return seen.found
