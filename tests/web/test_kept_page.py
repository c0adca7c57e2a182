"""How often forecasts held, on its page: the numbers of the command, drawn and in a table; links to it."""

from __future__ import annotations

import html
import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from canebench.bench.views.ahead.kept_word import kept_word
from canebench.bench.views.ahead.words import held_between
from canebench.store.values import written
from canebench.web.context import open_context
from support.web_client import closed_up

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.testclient import TestClient

    from canebench.store.ledger import Ledger
    from canebench.store.tables import Row


@pytest.fixture
def read(empty_client: TestClient, tmp_path: Path) -> TestClient:
    """Sixteen reeds, read three times, at a week's distance; the last of them went its own way."""
    ledger = open_context(str(tmp_path / "ledger.db"), "tester").ledger
    now = datetime.now(tz=UTC)
    with ledger.act("import", who="tester", said="a season") as act:
        for reed in range(1, 17):
            row: Row = {"number": f"<i>{reed}</i>", "state": "breaking in", "state_since": written(now)}
            reed_id = act.insert("reeds", row)
            for week in (4, 3, 0):
                at = written(now - timedelta(weeks=week, hours=1))
                kpa = 9.5 if reed == 16 and week == 0 else 6.5 + 0.05 * week + 0.1 * (reed % 3)
                act.insert("plays", {"reed_id": reed_id, "at": at, "minutes": 20.0})
                act.insert("strengths", {"reed_id": reed_id, "at": at, "given_unit": "kPa", "onset_kpa": kpa})
    return empty_client


def _ledger(tmp_path: Path) -> Ledger:
    return open_context(str(tmp_path / "ledger.db"), "tester").ledger


def test_the_page_draws_and_tells_what_the_command_tells(read: TestClient, tmp_path: Path) -> None:
    answer = read.get("/ahead/kept")
    assert answer.status_code == 200
    page = html.unescape(closed_up(answer.text))
    kept = kept_word(_ledger(tmp_path))
    (plays,) = kept.held
    assert plays.said in page
    table = answer.text[answer.text.index("how often each range held") :]
    for level in plays.levels:
        assert level.of == 16
        cells = (f"{level.stated} %", f"{level.inside} of 16", held_between(level), str(level.bears_out))
        row = next(one for one in table.split("<tr>") if f">{level.stated} %<" in one)
        assert [words in row for words in cells] == [True] * 4
    svg = re.search(r"<svg.*?kept-strength-desc.*?</svg>", answer.text, re.DOTALL)
    assert svg is not None
    assert svg[0].count("<circle") == 10
    assert plays.said in html.unescape(svg[0])
    # What was said beside what came: the one that went its own way is told as such, and no number is markup.
    assert answer.text.count('data-label="Within"') == 16
    assert answer.text.count("&lt;i&gt;16") == 1
    assert "<i>16" not in answer.text
    assert "Low A, Tilt: no forecast’s day has come yet." in page


def test_no_script_is_needed(read: TestClient) -> None:
    page = read.get("/ahead/kept").text
    assert page.count("<script") == read.get("/care").text.count("<script")


def test_where_no_day_has_come_that_is_said(empty_client: TestClient) -> None:
    page = html.unescape(empty_client.get("/ahead/kept").text)
    assert "No forecast’s day has come yet" in page
    assert "<circle" not in page


@pytest.mark.parametrize("path", ["/reeds/1/ahead", "/lots/1", "/lots/1/worth"])
def test_a_reeds_forecast_and_a_lot_lead_there(client: TestClient, path: str) -> None:
    assert 'href="/ahead/kept"' in client.get(path).text
