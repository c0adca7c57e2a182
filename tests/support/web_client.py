"""A browser's stand-in that has come by the sign-in link and sends what browsers send with our own forms."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from starlette.testclient import TestClient

if TYPE_CHECKING:
    from starlette.applications import Starlette

    from canebench.web.security.sign_in import SignIn

PORT: Final = 8123
HOST: Final = f"127.0.0.1:{PORT}"
ORIGIN: Final = f"http://{HOST}"
#: The test client would ask for WebSockets under a name of its own.
SOCKETS: Final = f"ws://{HOST}"


def closed_up(page: str) -> str:
    """A page without the line breaks and indents of its templates, which nobody sees.

    A break between words stays as one space; next to the tags round them it goes, and so do the roles and
    names of columns that tables carry for those who hear them and for telephones.
    """
    text = re.sub(r' (?:role="[a-z]+"|data-label="[^"]*")(?=[^<>]*>)', "", re.sub(r"\s+", " ", page))
    for around, bare in ((r"> <", "><"), (r"(<[a-z][^<>]*>) ", r"\1"), (r" (</[a-z])", r"\1"), (r" >", ">")):
        text = re.sub(around, bare, text)
    return text


def signed_in(app: Starlette, entry: SignIn) -> TestClient:
    """Signed in."""
    client = TestClient(app, base_url=ORIGIN, headers={"origin": ORIGIN})
    answer = client.get(entry.link(), follow_redirects=False)
    assert answer.status_code == 303
    return client
