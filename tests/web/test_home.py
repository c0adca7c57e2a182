"""The first page: the last fitting above all, three ways into an empty ledger, the season apart."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from canebench.bench.acts.band import settle
from canebench.bench.acts.upkeep.demo_season import season_in
from canebench.store.ledger import open_ledger
from canebench.store.records import TakeRecord
from canebench.web.app import create_app
from canebench.web.context import open_context
from canebench.web.security.sign_in import SignIn
from support.ledgers import dump_of
from support.web_client import HOST, PORT, signed_in

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.applications import Starlette
    from starlette.testclient import TestClient


def test_an_empty_ledger_has_three_ways_in(empty_client: TestClient) -> None:
    page = empty_client.get("/").text
    for way in ("A box of reeds", "One reed", "Try it first"):
        assert f"{way}</h2>" in page
    assert 'href="/lots"' in page
    assert "A new box" in empty_client.get("/lots").text
    # The control: once something is kept, it is another page.
    empty_client.post("/reeds", data={"name": "spring", "count": "3"})
    page = empty_client.get("/").text
    assert "Three ways in" not in page
    assert "Needs you" in page


def test_the_last_fitting_stands_first_with_its_act(client: TestClient, app: Starlette) -> None:
    page = client.get("/").text
    (heading,) = re.findall(r'id="going-title">\s*Reed (\d+) in ([^<]+)<', page)
    fitting = re.search(r'href="(/fit/\d+/\d+)"\s*>\s*Go on with it', page)
    assert fitting is not None
    # It says what the fitting itself says.
    act = re.search(r'class="going-act">\s*([^<]+?)\s*<', page)
    assert act is not None
    own = client.get(fitting[1]).text
    assert act[1] in own
    assert f"Reed {heading[0]} in {heading[1].strip()}" in own
    assert page.index("going-title") < page.index("needs-title") < page.index("begin-title")
    assert app.state.season is None


def test_a_fitting_that_cannot_be_told_is_still_gone_on_with(client: TestClient, app: Starlette) -> None:
    with app.state.context.ledger.act("x", who="x", said="x") as act:
        take = act.rows(TakeRecord, order="-at", limit=1)[0]
        act.update(take, {"scale": "another bench's"})
    page = client.get("/")
    assert page.status_code == 200
    assert "Go on with it" in page.text
    assert "going-act" not in page.text


def test_the_settled_aim_and_name_stand_there(client: TestClient, app: Starlette) -> None:
    settle(app.state.context.ledger, {"name": "Quay & Co", "pitch": "481"}, who="x")
    page = client.get("/").text
    assert "Today at Quay &amp; Co" in page
    assert "low A 481 Hz, scale harmonic" in " ".join(page.split())


def test_without_a_server_of_its_own_there_is_no_season(empty_client: TestClient) -> None:
    assert "canebench demo --serve" in empty_client.get("/").text
    assert empty_client.post("/season").status_code == 404
    assert empty_client.get("/season").status_code == 404


def test_a_season_says_on_every_page_that_it_is_one(tmp_path: Path) -> None:
    entry = SignIn(PORT)
    path = season_in(tmp_path / "tried")
    app = create_app(open_context(str(path), "x", home="http://127.0.0.1:9"), entry, hosts=[HOST])
    with signed_in(app, entry) as inside:
        for address in ("/", "/reeds", "/fit/1/1", "/nowhere"):
            page = inside.get(address).text
            assert "Invented season" in page
            assert 'href="http://127.0.0.1:9"' in page
    with signed_in(create_app(open_context(str(path), "x"), entry, hosts=[HOST]), entry) as inside:
        assert "Ctrl-C" in inside.get("/").text
    # The control: a folder without the mark is somebody's own.
    (path.parent / ".canebench-demo").unlink()
    with signed_in(create_app(open_context(str(path), "x"), entry, hosts=[HOST]), entry) as inside:
        assert "Invented season" not in inside.get("/").text


def test_a_season_is_made_once_and_one_half_made_anew(tmp_path: Path) -> None:
    path = season_in(tmp_path / "tried")
    made = path.stat().st_ino
    assert season_in(tmp_path / "tried").stat().st_ino == made
    mark = path.parent / ".canebench-demo"
    mark.write_text(mark.read_text(encoding="utf-8").replace("It is whole.\n", ""), encoding="utf-8")
    path.write_bytes(b"torn")
    again = season_in(tmp_path / "tried")
    assert len(dump_of(open_ledger(str(again)))["reeds"]) == 24
