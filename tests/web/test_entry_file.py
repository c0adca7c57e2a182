"""The sign-in link reaches a browser by a file for its owner alone; a look at it uses nothing up."""

from __future__ import annotations

import re
import stat
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import unquote, urlsplit

from starlette.testclient import TestClient

from canebench.web.security import entry_file
from canebench.web.security.entry_file import addresses
from support.web_client import ORIGIN

if TYPE_CHECKING:
    import pytest
    from starlette.applications import Starlette

    from canebench.web.security.sign_in import SignIn

_LINK = "http://127.0.0.1:1/enter?key=abc"


def test_the_file_leads_to_the_link_and_is_its_owners(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(entry_file, "_CONFINED", ())
    with addresses() as files:
        address = files.address_for(_LINK)
        assert "key" not in address
        path = Path(unquote(urlsplit(address).path))
        assert _LINK in path.read_text(encoding="utf-8")
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
        # A second link takes the first one's place.
        files.address_for(_LINK + "d")
        assert _LINK + "d" in path.read_text(encoding="utf-8")
    assert not path.parent.exists()


def test_a_confined_browser_gets_the_link_itself(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(entry_file, "_CONFINED", (tmp_path,))
    with addresses() as files:
        assert files.address_for(_LINK) == _LINK


def test_a_look_uses_no_link_up(app: Starlette, entry: SignIn) -> None:
    client, link = TestClient(app, base_url=ORIGIN), entry.link()
    assert client.head(link, follow_redirects=False).status_code == 204
    assert client.get("/").status_code == 401
    assert client.get(link, follow_redirects=False).status_code == 303
    assert client.get("/").status_code == 200


def test_from_a_file_the_browser_is_sent_on_by_a_page_of_ours(app: Starlette, entry: SignIn) -> None:
    """A strict cookie does not go with what another origin began."""
    client = TestClient(app, base_url=ORIGIN)
    answer = client.get(entry.link(), headers={"Sec-Fetch-Site": "cross-site"}, follow_redirects=False)
    assert answer.status_code == 200
    assert re.search(r'http-equiv="refresh" content="0;url=/"', answer.text)
    assert client.get("/").status_code == 200
