"""A reed's forecast on its page: words, table, chart, and what is not known."""

from __future__ import annotations

import json
import re
from html import unescape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.testclient import TestClient


def test_the_page_tells_what_the_chart_draws(client: TestClient) -> None:
    text = client.get("/reeds/1/ahead").text
    found = re.search(r'<forecast-chart><script type="application/json">(.*?)</script>', text, re.DOTALL)
    assert found is not None
    chart = json.loads(unescape(found[1]))
    assert chart["unit"] == "inH2O"
    assert len(chart["ahead"]) == 4
    for one in chart["ahead"]:
        assert one["low"] < one["middle"] < one["high"]
        assert f"{one['middle']:.1f} inH2O" in text
    assert len(chart["past"]) > 5


def test_the_reeds_page_leads_there(client: TestClient) -> None:
    assert 'href="/reeds/1/ahead"' in client.get("/reeds/1").text


def test_a_reed_that_nobody_owns_is_not_judged_and_why(client: TestClient) -> None:
    text = client.get("/reeds/7/ahead").text
    assert "Not judged yet" in text
    assert "Whose reed it is" in text
    assert "Not judged yet" not in client.get("/reeds/1/ahead").text


def test_no_reed_no_forecast(client: TestClient) -> None:
    assert client.get("/reeds/4711/ahead").status_code == 404
