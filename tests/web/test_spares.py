"""Who plays which reed, on the page: the same as by command, and what will not do."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

from canebench.bench.views.ahead.spares import spares
from support.web_client import closed_up

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient


def test_the_page_says_what_the_command_says(client: TestClient, app: Starlette) -> None:
    found = spares(app.state.context.ledger)
    page = html.unescape(closed_up(client.get("/spares").text))
    assert found.players
    for one in found.players:
        assert one.player.name in page
        for ready in one.ready:
            assert ready.said in page
    assert all(said in page for said in found.said)


def test_how_many_each_should_have_is_asked_again(client: TestClient) -> None:
    for typed in ("0", "six", "9"):
        answer = client.get(f"/spares?each={typed}")
        assert answer.status_code == 422
        assert 'role="alert"' in answer.text
        assert f'value="{typed}"' in answer.text
    assert 'role="alert"' not in client.get("/spares?each=3").text


def test_an_empty_ledger_says_what_is_needed(empty_client: TestClient) -> None:
    assert "No player’s strength is told yet" in empty_client.get("/spares").text
