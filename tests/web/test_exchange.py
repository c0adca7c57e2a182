"""Exchange on the page: out, looked over, in, taken back; backups made and verified."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

from support.ledgers import dump_of

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.applications import Starlette
    from starlette.testclient import TestClient


def looked(client: TestClient, name: str, data: bytes, **fields: str) -> str:
    answer = client.post("/exchange/import", data=fields, files={"file": (name, data)})
    assert answer.status_code == 200, answer.text
    return answer.text


def test_everything_goes_out(client: TestClient) -> None:
    whole = client.get("/exchange/download?form=json")
    assert json.loads(whole.content)["schema"] == "canebench.ledger/1"
    reeds = client.get("/exchange/download?form=csv&table=reeds")
    assert reeds.text.startswith("id,version,number")
    assert "attachment" in reeds.headers["content-disposition"]
    assert client.get("/exchange/download?form=csv").status_code == 422
    assert client.get("/exchange/download?form=doc&table=reeds").status_code == 422


def test_rows_are_looked_over_then_brought_in_then_taken_back(client: TestClient, app: Starlette) -> None:
    before = dump_of(app.state.context.ledger)
    page = looked(client, "players.csv", b"name\nEffie Garrow the younger\nIsla Penhallow\n")
    assert dump_of(app.state.context.ledger) == before
    token = re.search(r'name="waiting" value="(\w+)"', page)
    assert token
    done = client.post("/exchange/commit", data={"waiting": token[1], "table": "players"})
    assert "brought in players.csv" in done.text
    assert "Effie Garrow the younger" in client.get("/players").text
    undo = re.search(r'action="(/undo/\d+)"', done.text)
    assert undo
    client.post(undo[1], data={"back": "/exchange"})
    assert "the younger" not in client.get("/players").text
    assert "before-import" in client.get("/exchange").text
    gone = client.post("/exchange/commit", data={"waiting": token[1], "table": "players"})
    assert gone.status_code == 404


def test_what_is_amiss_is_told_row_by_row_and_mapped(client: TestClient) -> None:
    page = looked(
        client, "box.csv", b"Nr;state;state_since\nX1;new;2026-03-02\nX2;odd;2026-03-02\n", table="reeds"
    )
    assert "row 3, state" in page
    assert "Nr" in page
    token = re.search(r'name="waiting" value="(\w+)"', page)
    assert token
    fields = {"waiting": token[1], "table": "reeds", "map-Nr": "number"}
    again = client.post("/exchange/import", data=fields).text
    assert "row 3, state" in again
    refused = client.post("/exchange/commit", data=fields)
    assert refused.status_code == 422
    assert "all rows fit or none" in refused.text


def test_a_name_of_a_file_never_becomes_a_path(client: TestClient, tmp_path: Path) -> None:
    before = sorted(tmp_path.rglob("*"))
    for name in ("../../evil.csv", "/etc/evil.csv", "..\\evil.csv", ".csv"):
        client.post("/exchange/import", data={"table": "players"}, files={"file": (name, b"name\nA\n")})
    assert [path for path in tmp_path.rglob("*") if "evil" in path.name] == []
    assert len(sorted(tmp_path.rglob("*"))) == len(before)
    assert client.post("/exchange/commit", data={"waiting": "../" * 10}).status_code == 404


def test_backup_and_verify(client: TestClient, tmp_path: Path) -> None:
    folder = tmp_path / "backup"
    assert "whole, to the last bit" in client.post("/exchange/backup", data={"folder": str(folder)}).text
    assert client.post("/exchange/backup", data={"folder": str(folder)}).status_code == 422
    assert client.post("/exchange/backup", data={"folder": "here"}).status_code == 422
    (folder / "ledger.db").write_bytes(b"x")
    assert "things are wrong" in client.post("/exchange/verify", data={"folder": str(folder)}).text
    assert client.post("/exchange/verify", data={"folder": str(tmp_path / "none")}).status_code == 404


def test_everything_is_looked_at(client: TestClient) -> None:
    page = client.get("/exchange/check").text
    assert "SQLite" in page
    assert "fine" in page
