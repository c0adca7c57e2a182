"""Tables that become cards on a telephone: each cell carries its column's name, and says aloud what it is."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import TYPE_CHECKING

import pytest

from support.every_page import EVERY_PAGE

if TYPE_CHECKING:
    from starlette.testclient import TestClient

ROLES = {"table": "table", "thead": "rowgroup", "tbody": "rowgroup", "tr": "row", "td": "cell"}


class Cards(HTMLParser):
    """What is amiss in the tables of a page, and how many of them are cards."""

    def __init__(self) -> None:
        super().__init__()
        self.wrong: list[str] = []
        self.cards = 0
        self._within = False
        self._names: list[str] = []
        self._in_head = False
        self._place = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Hold it against its column and its role."""
        told = dict(attrs)
        if tag == "table":
            self._within = "cards" in (told.get("class") or "").split()
            self.cards += self._within
            self._names = []
        if not self._within:
            return
        if tag == "tr":
            self._place = 0
        role = ROLES.get(tag) or {"col": "columnheader", "row": "rowheader"}.get(told.get("scope") or "")
        if tag in {*ROLES, "th"} and told.get("role") != role:
            self.wrong.append(f"{tag} is no {role}")
        if tag == "th" and told.get("scope") == "col":
            self._names.append("")
            self._in_head = True
        elif tag in ("th", "td"):
            if tag == "td" and "colspan" not in told and told.get("data-label") != self._names[self._place]:
                self.wrong.append(f"{told.get('data-label')} under {self._names[self._place]}")
            self._place += 1

    def handle_endtag(self, tag: str) -> None:
        """A column's name ends with its header."""
        self._in_head = self._in_head and tag != "th"

    def handle_data(self, data: str) -> None:
        """A column's name."""
        if self._in_head:
            self._names[-1] = f"{self._names[-1]} {data.strip()}".strip()


@pytest.mark.parametrize("path", EVERY_PAGE)
def test_every_cell_of_a_card_has_its_columns_name(client: TestClient, path: str) -> None:
    seen = _read(client.get(path).text)
    assert seen.wrong == []


def test_there_are_cards_to_look_at(client: TestClient) -> None:
    assert sum(_read(client.get(path).text).cards for path in EVERY_PAGE) > 15


@pytest.mark.parametrize(
    "change",
    [
        ('data-label="Ceiling"', 'data-label="Blows now"'),
        ('data-label="Ceiling"', ""),
        ('role="cell"', ""),
        ('<tr role="row">', "<tr>"),
    ],
)
def test_a_wrong_name_or_a_missing_role_is_noticed(client: TestClient, change: tuple[str, str]) -> None:
    """Control."""
    text = client.get("/players").text
    assert change[0] in text
    assert _read(text.replace(*change)).wrong


def _read(text: str) -> Cards:
    seen = Cards()
    seen.feed(text)
    return seen
