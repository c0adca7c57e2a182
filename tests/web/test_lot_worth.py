"""A lot's worth on its page: the same words as the command, tables with captions, and what will not do."""

from __future__ import annotations

import html
import io
import re
from typing import TYPE_CHECKING

import pypdf
import pytest

from canebench.bench.acts.reeds.reed_days import play_reed
from canebench.bench.acts.reeds.stock import move_reed, take_in_lot
from canebench.bench.views.ahead.lot_worth import lot_worth
from canebench.web.context import open_context
from support.web_client import closed_up

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.testclient import TestClient


@pytest.fixture
def lots(empty_client: TestClient, tmp_path: Path) -> TestClient:
    """Two lots of three: of the first one settled and one did not, of the second nothing is known."""
    ledger = open_context(str(tmp_path / "ledger.db"), "tester").ledger
    take_in_lot(ledger, who="tester", name="spring", count=3, price=30.0, currency="marks")
    take_in_lot(ledger, who="tester", name="<b>autumn</b>", count=3)
    move_reed(ledger, "1", to="breaking in", reason="begun", who="tester")
    move_reed(ledger, "1", to="settled", reason="holds", who="tester")
    move_reed(ledger, "2", to="set aside", reason="flat", who="tester")
    return empty_client


def _read(client: TestClient, path: str, status: int = 200) -> str:
    answer = client.get(path)
    assert answer.status_code == status
    return html.unescape(closed_up(answer.text))


def test_the_page_says_what_the_command_says(lots: TestClient, tmp_path: Path) -> None:
    ledger = open_context(str(tmp_path / "ledger.db"), "tester").ledger
    found = lot_worth(ledger, "spring", against="<b>autumn</b>", needed=5, by="2030-01-01")
    page = _read(lots, "/lots/1/worth?against=%3Cb%3Eautumn%3C/b%3E&need=5&by=2030-01-01")
    assert found.against is not None
    assert found.proposal is not None
    for words in (
        *(one.said for one in found.worth.figures),
        *(one.said for one in found.against.figures),
        *found.beside,
        *found.proposal.said,
    ):
        assert words in page
    assert "1 of 2 reeds of lot spring" in page
    assert page.count("<caption>") == 2
    # The control: what was not asked is not said, and a name is no markup.
    bare = lots.get("/lots/1/worth").text
    assert "What to order</h2>" not in bare
    assert "<b>autumn" not in bare


def test_the_sheet_leads_there_and_back(lots: TestClient) -> None:
    assert 'href="/lots/1/worth"' in lots.get("/lots/1").text
    assert 'href="/lots/1"' in lots.get("/lots/1/worth").text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("need=0", "1 to 500"),
        ("need=few", "settled reeds needed"),
        ("need=5&by=soon", "a date like"),
        ("by=2030-01-01", "how many are needed"),
        ("against=spring", "two lots are compared"),
        ("need=5&post=999", "0 to 365"),
    ],
)
def test_what_will_not_do_is_said_beside_the_figures(lots: TestClient, query: str, said: str) -> None:
    page = _read(lots, f"/lots/1/worth?{query}", 422)
    assert said in page
    assert "Show</button>" in page
    assert "How it turned out" in page


def test_no_lot_no_worth(lots: TestClient) -> None:
    assert lots.get("/lots/99/worth").status_code == 404
    # Another lot that is not there: the figures stay, and the reason.
    page = _read(lots, "/lots/1/worth?against=winter", 404)
    assert "winter" in page
    assert "How it turned out" in page


def test_its_reeds_are_drawn_once_any_was_played(lots: TestClient, tmp_path: Path) -> None:
    bare = lots.get("/lots/1/worth").text
    assert "lot-wide-title" not in bare
    ledger = open_context(str(tmp_path / "ledger.db"), "tester").ledger
    play_reed(ledger, "2", minutes=25.0, who="tester")
    page = _read(lots, "/lots/1/worth")
    assert "Played most: reed 2, 25 min" in page
    assert lots.get("/lots/1/worth").text.count("lot-narrow-title") == 2
    assert "3 reeds, 30.00 marks." in page


def test_the_report_is_printed_with_what_was_asked(lots: TestClient) -> None:
    asked = "/lots/1/worth?against=%3Cb%3Eautumn%3C%2Fb%3E&need=5&post=14"
    link = re.search(r'href="(/lots/1/worth\.pdf[^"]*)"', lots.get(asked).text)
    assert link is not None
    answer = lots.get(html.unescape(link[1]))
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    said = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(answer.content)).pages)
    assert "<b>autumn</b>" in said
    assert "What to order" in said
    # What will not do has no report; the page that says so prints what stands on it.
    assert lots.get("/lots/1/worth.pdf?need=0").status_code == 422
    assert lots.get("/lots/99/worth.pdf").status_code == 404
    assert 'href="/lots/1/worth.pdf"' in lots.get("/lots/1/worth?need=0").text
