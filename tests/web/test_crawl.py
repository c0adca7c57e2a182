"""Every page that links lead to: there, well formed, and looking changes nothing."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import TYPE_CHECKING, Final
from urllib.parse import urljoin, urlsplit

import pytest

from support.ledgers import dump_of
from support.web_client import ORIGIN

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.applications import Starlette
    from starlette.testclient import TestClient

_MOST_PAGES: Final = 400
#: Pages of one kind that are enough: every reed's page is made by the same template.
_MOST_ALIKE: Final = 6


class Seen(HTMLParser):
    """What a page holds: links, headings, controls and whatever a strict policy would forbid."""

    def __init__(self) -> None:
        super().__init__()
        self.links: list[str] = []
        self.tags: dict[str, int] = {}
        self.ids: list[str] = []
        self.labelled: set[str] = set()
        self.controls: list[dict[str, str | None]] = []
        self.outside: list[str] = []
        self.inline: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what the tag brings."""
        told = dict(attrs)
        self.tags[tag] = self.tags.get(tag, 0) + 1
        if told.get("id"):
            self.ids.append(str(told["id"]))
        if tag == "a" and told.get("href"):
            self.links.append(str(told["href"]))
        if tag == "label" and told.get("for"):
            self.labelled.add(str(told["for"]))
        if tag in ("input", "select", "textarea") and told.get("type") not in ("hidden", "submit"):
            self.controls.append(told)
        for name in ("src", "href", "action", "xlink:href"):
            value = told.get(name) or ""
            if tag != "a" and value.startswith(("http:", "https:", "//")):
                self.outside.append(value)
        if "style" in told or any(name.startswith("on") for name in told):
            self.inline.append(f"{tag} {told}")
        is_data = told.get("type") == "application/json"
        if tag == "style" or (tag == "script" and not told.get("src") and not is_data):
            self.inline.append(tag)


def crawl(client: TestClient, start: str = "/") -> dict[str, Seen]:
    """Pages by path, following every link of ours."""
    pending_uploads = [start]
    found: dict[str, Seen] = {}
    alike: dict[str, int] = {}
    while pending_uploads and len(found) < _MOST_PAGES:
        path = pending_uploads.pop(0)
        kind = "".join("1" if c.isdigit() else c for c in path)
        if path in found or alike.get(kind, 0) >= _MOST_ALIKE:
            continue
        alike[kind] = alike.get(kind, 0) + 1
        answer = client.get(path)
        assert answer.status_code == 200, (path, answer.status_code)
        seen = Seen()
        if answer.headers["content-type"].startswith("text/html"):
            seen.feed(answer.text)
            for link in seen.links:
                goal = urlsplit(urljoin(ORIGIN + path, link))
                if f"{goal.scheme}://{goal.netloc}" == ORIGIN:
                    pending_uploads.append(goal.path + (f"?{goal.query}" if goal.query else ""))
        found[path] = seen
    return found


@pytest.fixture(params=["season", "new"])
def any_client(request: pytest.FixtureRequest) -> TestClient:
    client: TestClient = request.getfixturevalue("client" if request.param == "season" else "empty_client")
    return client


def test_every_page_is_well_formed(any_client: TestClient) -> None:
    pages = {path: seen for path, seen in crawl(any_client).items() if seen.tags}
    assert len(pages) > 8
    for path, seen in pages.items():
        for tag in ("h1", "main"):
            assert seen.tags.get(tag) == 1, (path, tag)
        twice = sorted({one for one in seen.ids if seen.ids.count(one) > 1})
        assert not twice, (path, twice)
        assert not seen.inline, (path, seen.inline)
        assert not seen.outside, (path, seen.outside)
        unlabelled = [one for one in seen.controls if not _has_label(one, seen)]
        assert not unlabelled, (path, unlabelled)


def test_looking_changes_nothing(client: TestClient, app: Starlette) -> None:
    before, files = dump_of(app.state.context.ledger), _files(app)
    first, second = crawl(client), crawl(client)
    assert first.keys() == second.keys()
    assert dump_of(app.state.context.ledger) == before
    assert _files(app) == files


def test_an_act_would_be_noticed(client: TestClient, app: Starlette) -> None:
    """The control: the dump that is compared does change with an act."""
    before = dump_of(app.state.context.ledger)
    client.post("/fit", data={"reed": "500", "chanter": "number 1"})
    assert dump_of(app.state.context.ledger) != before


def test_a_page_without_labels_would_be_noticed() -> None:
    """The control: what is looked for is found."""
    seen = Seen()
    seen.feed('<p style="x"><input name="a"><img src="//elsewhere/x.png"><script>1</script>')
    assert seen.inline
    assert seen.outside
    assert not _has_label(seen.controls[0], seen)


def _has_label(control: dict[str, str | None], seen: Seen) -> bool:
    # A tick or a choice stands inside its label, without an id.
    inside = control.get("type") in ("checkbox", "radio")
    return inside or control.get("id") in seen.labelled or bool(control.get("aria-label"))


def _files(app: Starlette) -> list[Path]:
    folder: Path = app.state.context.takes.parent
    return sorted(path for path in folder.rglob("*") if not path.name.endswith(("-wal", "-shm", "-journal")))
