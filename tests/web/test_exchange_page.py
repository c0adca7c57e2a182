"""Exchange as it is filled in: what was looked over is what comes in, and what was chosen stays chosen."""

from __future__ import annotations

import html
import re
from html.parser import HTMLParser
from typing import TYPE_CHECKING

from canebench.bench.acts.upkeep.column_words import COLUMN_WORDS
from canebench.store.records import LotRecord, ReedRecord
from canebench.store.tables import TABLES
from support.ledgers import dump_of

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient

BOX = b"Nr;state;state_since;remarks\nX1;new;2026-03-02;keep me out\nX2;new;2026-03-02;me too\n"


class CommitForm(HTMLParser):
    """What a browser would send if the form of the preview were submitted as it stands."""

    def __init__(self) -> None:
        super().__init__()
        self.fields: dict[str, str] = {}
        self._inside = False
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """A field, or an option of one."""
        told = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._inside = told.get("action") == "/exchange/commit"
        if not self._inside:
            return
        if tag == "input" and (told.get("type") != "checkbox" or "checked" in told):
            self.fields[told["name"]] = told.get("value", "on")
        elif tag == "select":
            self._select = told["name"]
        elif tag == "option" and (self._select not in self.fields or "selected" in told):
            self.fields[self._select] = told.get("value", "?")

    def handle_data(self, data: str) -> None:
        """An option without a value of its own is its words."""
        if self._inside and self._select and self.fields.get(self._select) == "?":
            self.fields[self._select] = data

    def handle_endtag(self, tag: str) -> None:
        """Out of the form, or of a field."""
        self._inside = self._inside and tag != "form"
        if tag == "select":
            self._select = ""


def as_it_stands(page: str) -> dict[str, str]:
    found = CommitForm()
    found.feed(page)
    return found.fields


def looked(client: TestClient, name: str, data: bytes, table: str = "reeds") -> str:
    return client.post("/exchange/import", data={"table": table}, files={"file": (name, data)}).text


def test_what_was_looked_over_is_what_comes_in(client: TestClient, app: Starlette) -> None:
    fields = as_it_stands(looked(client, "box.csv", BOX))
    assert fields["map-Nr"] == ""
    chosen = {**fields, "map-Nr": "number", "map-remarks": "-", "refuse_duplicates": "on"}
    again = client.post("/exchange/import", data=chosen).text
    # The page as it now stands, submitted unchanged.
    assert as_it_stands(again) == chosen
    done = client.post("/exchange/commit", data=as_it_stands(again))
    assert "brought in box.csv" in done.text
    with app.state.context.ledger.reading() as reader:
        for number in ("X1", "X2"):
            row = reader.find(ReedRecord, "number", number)
            assert row is not None
            # Left out by choice, though a column of that name is there.
            assert row.remarks is None


def test_a_file_refused_is_shown_again_with_what_was_chosen(client: TestClient, app: Starlette) -> None:
    before = dump_of(app.state.context.ledger)
    fields = as_it_stands(looked(client, "box.csv", BOX.replace(b"X2;new", b"X2;odd")))
    chosen = {**fields, "map-Nr": "number", "keep_ids": "on"}
    refused = client.post("/exchange/commit", data=chosen)
    assert refused.status_code == 422
    assert "all rows fit or none" in refused.text
    assert "row 3, state" in refused.text
    assert as_it_stands(refused.text) == chosen
    assert dump_of(app.state.context.ledger) == before


def test_with_faults_there_is_no_button_to_bring_it_in(client: TestClient) -> None:
    """And without there is: the button is that of the form, which else looks again."""
    fine = looked(client, "box.csv", BOX.replace(b"Nr", b"number"))
    amiss = looked(client, "box.csv", BOX)
    assert "Bring all of it in" in fine
    assert "Bring all of it in" not in amiss
    assert "Nothing can be brought in while a row is amiss" in amiss
    (button,) = re.findall(r'<button class="main" formaction="([^"]*)">', amiss)
    assert button == "/exchange/import"
    # Enter in the form presses its first button.
    form = amiss.split('action="/exchange/commit"')[1]
    assert "formaction" in form.split("<button", 1)[1].split(">")[0]


def test_every_column_is_told_in_words_and_a_fault_says_them() -> None:
    assert {name: set(words) for name, words in COLUMN_WORDS.items()} == {
        name: {column.name for column in table.columns} for name, table in TABLES.items()
    }
    said = [words for of in COLUMN_WORDS.values() for words in of.values()]
    assert all(" " in words or len(words) > 3 for words in said)
    assert not any("_" in words for words in said)


def test_a_fault_says_what_its_column_is(client: TestClient) -> None:
    page = looked(client, "box.csv", b"number;remarks\nX1;a\n")
    assert "state is new, on trial, breaking in" in " ".join(page.split())
    assert "the number on its binding (number)" in " ".join(page.split())


def test_a_plain_list_comes_in_with_its_lots(client: TestClient, app: Starlette) -> None:
    page = looked(client, "box.csv", b"number,lot,state\nX1,attic,new\nX2,attic,settled\n")
    assert "2 rows do not tell since when" in page
    assert "Lots that the list names and that are new come in with it." in " ".join(page.split())
    done = client.post("/exchange/commit", data=as_it_stands(page))
    assert done.status_code == 200
    assert "brought in box.csv" in done.text
    with app.state.context.ledger.reading() as reader:
        row = reader.find(ReedRecord, "number", "X2")
        assert row is not None
        assert reader.row(LotRecord, row.lot_id or 0).name == "attic"


def test_hostile_headers_and_names_stay_words(client: TestClient) -> None:
    page = looked(client, 'a"><script>.csv', b'name;"<img src=x>";""\nA;1;2\n', "players")
    assert "<img src=x>" not in page
    assert "<script>." not in page
    assert "map-<img src=x>" in as_it_stands(page)


def test_a_stick_that_is_not_there_is_said_and_kept(client: TestClient) -> None:
    answer = client.post("/exchange/verify", data={"folder": "/media/stick/none"})
    assert answer.status_code == 404
    assert 'value="/media/stick/none"' in answer.text
    assert "There is no backup /media/stick/none" in html.unescape(answer.text)


def test_restoring_is_told_not_done(client: TestClient) -> None:
    page = client.get("/exchange").text
    assert "canebench restore FOLDER" in page
    assert not re.search(r'action="[^"]*restore', page)
    assert client.post("/exchange/restore", data={"folder": "/"}).status_code in (404, 405)


def test_an_empty_bench_says_what_there_is_not(empty_client: TestClient) -> None:
    assert "None yet: one is kept before every import" in empty_client.get("/exchange").text
