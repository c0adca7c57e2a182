"""The guards, over every route there is: a new route cannot forget them."""

from __future__ import annotations

import asyncio
import re
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

import pytest
from starlette.responses import PlainTextResponse
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from canebench.web.security.origin_checks import BodyLimit, HostCheck, OriginCheck, _TooLargeError
from canebench.web.security.sign_in import SignIn
from support.web_addresses import OPEN, addresses
from support.web_client import HOST, ORIGIN, PORT, signed_in
from support.web_client import SOCKETS as SOCKETS_AT

if TYPE_CHECKING:
    from starlette.applications import Starlette

#: Names that a page elsewhere could have pointed at this machine, and near misses of our own.
FOREIGN_HOSTS = [
    "canebench.example",
    f"canebench.example:{PORT}",
    f"127.0.0.1.canebench.example:{PORT}",
    "127.0.0.1",
    "127.0.0.1:80",
    f"127.0.0.2:{PORT}",
    f"0.0.0.0:{PORT}",
    f"[::1]:{PORT}",
    f"localhost.canebench.example:{PORT}",
    f"localhost:{PORT}@canebench.example",
    f"127.0.0.1:{PORT}.canebench.example",
    f"2130706433:{PORT}",
    "",
]
FOREIGN_ORIGINS = [
    None,
    "null",
    "http://canebench.example",
    f"https://{HOST}",
    f"http://127.0.0.1:{PORT + 1}",
    f"http://localhost:{PORT}",
    f"http://{HOST}.canebench.example",
    f"http://{HOST}/",
]
HTTP = addresses(SignIn(PORT), kind="http")
SOCKETS = [path for _, path in addresses(SignIn(PORT), kind="websocket")]
CHANGING = [(method, path) for method, path in HTTP if method != "GET"]


def test_the_table_is_not_empty() -> None:
    assert len(HTTP) > 8
    assert len(CHANGING) > 3


@pytest.mark.parametrize("host", FOREIGN_HOSTS)
def test_no_route_answers_to_a_foreign_host(client: TestClient, host: str) -> None:
    for method, path in HTTP:
        answer = client.request(method, path, headers={"host": host}, follow_redirects=False)
        assert answer.status_code == 421, (method, path, host)
    for path in SOCKETS:
        assert _refused(client, path, {"host": host})


@pytest.mark.parametrize("origin", FOREIGN_ORIGINS)
def test_nothing_changes_for_a_foreign_origin(app: Starlette, entry: SignIn, origin: str | None) -> None:
    with signed_in(app, entry) as client:
        del client.headers["origin"]
        headers = {} if origin is None else {"origin": origin}
        for method, path in CHANGING:
            answer = client.request(method, path, headers=headers, follow_redirects=False)
            assert answer.status_code == 403, (method, path, origin)
        for path in SOCKETS:
            assert _refused(client, path, headers)


@pytest.mark.parametrize("site", ["cross-site", "same-site", "none"])
def test_a_browser_that_says_it_comes_from_elsewhere_is_believed(client: TestClient, site: str) -> None:
    for method, path in CHANGING:
        answer = client.request(method, path, headers={"sec-fetch-site": site}, follow_redirects=False)
        assert answer.status_code == 403, (method, path)


def test_nothing_is_shown_before_signing_in(app: Starlette) -> None:
    client = TestClient(app, base_url=ORIGIN, headers={"origin": ORIGIN})
    closed = [(method, path) for method, path in HTTP if not path.startswith(OPEN)]
    assert len(closed) > 6
    for method, path in closed:
        answer = client.request(method, path, follow_redirects=False)
        assert answer.status_code == 401, (method, path)
        assert "canebench serve" in answer.text
    for path in SOCKETS:
        assert _refused(client, path, {})


def test_a_link_signs_in_once(app: Starlette, entry: SignIn) -> None:
    link = entry.link()
    first, second = (TestClient(app, base_url=ORIGIN) for _ in range(2))
    assert first.get(link, follow_redirects=False).status_code == 303
    assert second.get(link, follow_redirects=False).status_code == 401
    assert first.get("/").status_code == 200
    assert second.get("/").status_code == 401


def test_another_browsers_cookie_is_none_of_ours(app: Starlette, entry: SignIn) -> None:
    client = TestClient(app, base_url=ORIGIN, cookies={entry.cookie: "guessed"})
    assert client.get("/").status_code == 401


def test_every_answer_keeps_the_page_to_itself(client: TestClient) -> None:
    for method, path in HTTP:
        answer = client.request(method, path, follow_redirects=False)
        policy = answer.headers["content-security-policy"]
        assert "unsafe" not in policy
        assert "default-src 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "access-control-allow-origin" not in answer.headers


def test_our_own_page_may_open_every_socket(client: TestClient) -> None:
    """The control of the tables above: what they refuse is let in from our own page."""
    assert SOCKETS
    for path in SOCKETS:
        assert not _refused(client, path, {})


def test_a_form_too_large_is_refused(client: TestClient) -> None:
    answer = client.post("/fit", data={"reed": "9" * 300_000, "chanter": "x"})
    assert answer.status_code == 413
    assert "most that is taken" in answer.text


def test_a_body_without_a_length_is_counted() -> None:
    """The stated length may be missing: then what comes is counted."""

    async def swallow(scope: Any, receive: Any, send: Any) -> None:
        del scope, send
        while (await receive()).get("more_body"):
            pass

    sent: list[Any] = []
    chunks = iter([{"type": "http.request", "body": b"x" * 600, "more_body": True}] * 3)

    async def receive() -> Any:
        return next(chunks)

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {"type": "http", "method": "POST", "path": "/", "headers": []}
    # In a thread of its own: the browser's driver may have a loop running in this one.
    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, BodyLimit(swallow, lambda _: 1_000)(scope, receive, send)).result()
    assert sent[0]["status"] == 413


@pytest.mark.parametrize(("more", "status"), [(0, 200), (1, 413)])
@pytest.mark.parametrize("stated", [True, False])
def test_a_body_may_be_as_large_as_its_limit_and_no_larger(more: int, status: int, stated: bool) -> None:
    """By its stated length, and by what comes where none is stated."""
    body = b"x" * (1_000 + more)
    headers = [(b"content-length", str(len(body)).encode())] if stated else []
    assert _status_of(_reads_all, [body[:600], body[600:]], headers) == status


@pytest.mark.parametrize("length", [b"many", b"-1", b"1e2", b"\xb2"])
def test_a_length_that_is_none_is_refused(length: bytes) -> None:
    assert _status_of(_reads_all, [b"x"], [(b"content-length", length)]) == 413


def test_a_body_that_outgrows_its_limit_after_the_answer_began_ends_it() -> None:
    """Nothing can be refused any more: the connection ends, and no second answer is sent into the first."""

    async def begins(scope: Any, receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await _reads_all(scope, receive, send)

    sent: list[Any] = []
    with pytest.raises(_TooLargeError):
        _status_of(begins, [b"x" * 2_000], [], sent=sent)
    assert [message["type"] for message in sent] == ["http.response.start"]


async def _reads_all(scope: Any, receive: Any, send: Any) -> None:
    while (await receive()).get("more_body"):
        pass
    await PlainTextResponse("read")(scope, receive, send)


def _status_of(app: Any, parts: list[bytes], headers: list[Any], *, sent: list[Any] | None = None) -> int:
    """What is answered to a body of such parts, where a thousand bytes may come."""
    messages = [
        {"type": "http.request", "body": part, "more_body": n < len(parts)} for n, part in enumerate(parts, 1)
    ]
    coming, going = iter(messages), [] if sent is None else sent

    async def receive() -> Any:
        return next(coming)

    async def send(message: Any) -> None:
        going.append(message)

    scope = {"type": "http", "method": "POST", "path": "/", "headers": headers}
    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, BodyLimit(app, lambda _: 1_000)(scope, receive, send)).result()
    return int(going[0]["status"])


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_origins(app: Starlette, entry: SignIn) -> None:
    client = TestClient(app, base_url=ORIGIN)
    told = client.get(entry.link(), follow_redirects=False).headers["set-cookie"].lower()
    assert {"httponly", "samesite=strict", "path=/"} <= {part.strip() for part in told.split(";")}


def test_links_and_cookies_hold_as_much_chance_as_a_key(app: Starlette, entry: SignIn) -> None:
    """256 bits at least, as of AES-256 (FIPS 197): six to a letter of base64."""
    client, link = TestClient(app, base_url=ORIGIN), entry.link()
    client.get(link, follow_redirects=False)
    for secret in (link.partition("key=")[2], client.cookies[entry.cookie]):
        assert 6 * len(secret) >= 256
        assert len(set(secret)) > 16


def test_no_page_is_kept_by_the_browser_and_our_own_files_are(client: TestClient) -> None:
    page = client.get("/reeds")
    assert page.headers["cache-control"] == "no-store"
    own = re.search(r'href="(/static/[^"]+\.css)"', page.text)
    assert own is not None
    assert "immutable" in client.get(own[1]).headers["cache-control"]


def test_a_refused_socket_says_that_it_broke_the_rules(client: TestClient) -> None:
    """1008, a policy violation (RFC 6455, section 7.4.1)."""
    with (
        pytest.raises(WebSocketDisconnect) as told,
        client.websocket_connect(f"{SOCKETS_AT}{SOCKETS[0]}", headers={"origin": "null"}),
    ):
        pass
    assert told.value.code == 1008


@pytest.mark.parametrize("guard", [HostCheck, OriginCheck])
def test_without_a_guard_the_table_would_notice(app: Starlette, entry: SignIn, guard: type) -> None:
    """The control: an app that lacks one of the guards answers what this table refuses."""
    app.user_middleware = [one for one in app.user_middleware if getattr(one, "cls", None) is not guard]
    with signed_in(app, entry) as client:
        if guard is HostCheck:
            assert client.get("/", headers={"host": FOREIGN_HOSTS[0]}).status_code == 200
        else:
            headers = {"origin": "http://canebench.example"}
            answer = client.post("/theme", data={"theme": "dim"}, headers=headers, follow_redirects=False)
            assert answer.status_code == 303


def _refused(client: TestClient, path: str, headers: dict[str, str]) -> bool:
    try:
        # Our own page would be let in here: what follows is the guards' doing.
        with client.websocket_connect(f"{SOCKETS_AT}{path}", headers=headers):
            return False
    except WebSocketDisconnect:
        return True
