"""Every page that links lead to: there, well formed, and looking changes nothing."""

from __future__ import annotations

from dataclasses import dataclass
from html.parser import HTMLParser
from shutil import copytree
from typing import TYPE_CHECKING, Final
from urllib.parse import urljoin, urlsplit

import pytest

from canebench.web.app import create_app
from canebench.web.context import open_context
from canebench.web.security.sign_in import SignIn
from support.ledgers import dump_of
from support.web_client import HOST, ORIGIN, PORT, signed_in

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.applications import Starlette
    from starlette.testclient import TestClient

    from canebench.store.tables import Row

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
        kind = _kind(path)
        if path in found or alike.get(kind, 0) >= _MOST_ALIKE:
            continue
        alike[kind] = alike.get(kind, 0) + 1
        found[path] = look(client, path)
        for link in found[path].links:
            goal = urlsplit(urljoin(ORIGIN + path, link))
            if f"{goal.scheme}://{goal.netloc}" == ORIGIN:
                pending_uploads.append(goal.path + (f"?{goal.query}" if goal.query else ""))
    return found


def look(client: TestClient, path: str) -> Seen:
    """What the page there holds; nothing where it is none but a file."""
    answer = client.get(path)
    assert answer.status_code == 200, (path, answer.status_code)
    seen = Seen()
    if answer.headers["content-type"].startswith("text/html"):
        seen.feed(answer.text)
    return seen


def _kind(path: str) -> str:
    """Pages whose addresses differ in numbers alone are of one kind."""
    return "".join("1" if c.isdigit() else c for c in path)


@dataclass(frozen=True, slots=True, kw_only=True)
class Crawled:
    """A ledger's pages, and what lay in the ledger and beside it before and after all were looked at."""

    pages: dict[str, Seen]
    #: What the pages hold that were looked at a second time, one of each kind.
    again: dict[str, Seen]
    before: tuple[dict[str, list[Row]], list[Path]]
    after: tuple[dict[str, list[Row]], list[Path]]


def _kept(app: Starlette) -> tuple[dict[str, list[Row]], list[Path]]:
    return dump_of(app.state.context.ledger), _files(app)


@pytest.fixture(scope="module", params=["season", "new"])
def crawled(
    request: pytest.FixtureRequest, season: Path, tmp_path_factory: pytest.TempPathFactory
) -> Crawled:
    """Every page of the season, and of a new ledger."""
    folder, entry = tmp_path_factory.mktemp("crawled") / "bench", SignIn(PORT)
    if request.param == "season":
        copytree(season, folder)
    app = create_app(open_context(str(folder / "ledger.db"), "tester"), entry, hosts=[HOST])
    with signed_in(app, entry) as client:
        before = _kept(app)
        pages = crawl(client)
        kinds = {_kind(path): path for path in reversed(pages)}
        again = {path: look(client, path) for path in kinds.values()}
        return Crawled(pages=pages, again=again, before=before, after=_kept(app))


def test_every_page_is_well_formed(crawled: Crawled) -> None:
    pages = {path: seen for path, seen in crawled.pages.items() if seen.tags}
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


def test_looking_changes_nothing(crawled: Crawled) -> None:
    """Neither the ledger nor its files, nor where pages lead to when they are looked at again."""
    assert crawled.after == crawled.before
    assert crawled.again
    for path, seen in crawled.again.items():
        assert seen.links == crawled.pages[path].links, path


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
