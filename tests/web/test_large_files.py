"""Large files at a served bench: refused by a count before they are read, or read elsewhere; nobody waits.

In small: the limits are lowered, and a file of some thousands of rows is large. `benchmarks/large_files.py`
has those of a million rows, and how long another reader waits.
"""

from __future__ import annotations

import pickle
import re
import threading
import time
from collections import Counter
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Final

import pytest

from canebench.base.errors import InputError
from canebench.store.exchange.files import unzipped
from canebench.store.exchange.files.xlsx_file import read_xlsx
from canebench.store.exchange.findings import ImportRefusedError
from canebench.store.records import ReedRecord
from canebench.web.routes import exchange
from support.large_files import another_reader, csv_of, xlsx_of
from support.plain_browser import PlainBrowser
from support.running_bench import serving

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.applications import Starlette
    from starlette.testclient import TestClient

_ROWS: Final = 400
_WAITING: Final = re.compile(r'name="waiting"\s+value="([0-9a-f]{32})"')


def _lowered(monkeypatch: pytest.MonkeyPatch, **most: int) -> None:
    counted = {
        within: (what, tag, most.get(what, limit)) for within, (what, tag, limit) in unzipped._COUNTED.items()
    }
    monkeypatch.setattr(unzipped, "_COUNTED", counted)


def _read(data: bytes) -> int:
    return sum(1 for sheet in read_xlsx(data).values() for _ in sheet.rows())


@pytest.mark.parametrize("what", ["rows", "texts"])
def test_rows_and_texts_are_counted_before_they_are_read(monkeypatch: pytest.MonkeyPatch, what: str) -> None:
    """Control: at the limit itself it is read. The header is a row too; five texts more are shared."""
    data = xlsx_of(_ROWS)
    there = {"rows": _ROWS + 1, "texts": _ROWS + 5}[what]
    _lowered(monkeypatch, **{what: there})
    assert _read(data) == _ROWS
    _lowered(monkeypatch, **{what: there - 1})
    monkeypatch.setattr("openpyxl.load_workbook", lambda *_, **__: pytest.fail("it was read"))
    with pytest.raises(InputError, match=f"more than {there - 1} {what}.*as CSV"):
        _read(data)


@pytest.mark.parametrize("size", [7, 64, 65, 100, 1_000, 1 << 20])
def test_a_tag_across_two_pieces_counts_once(size: int) -> None:
    text = b"".join(b'<row r="%d"><c/></row><x:row/><rows/><xrow/>' % n for n in range(_ROWS))
    pieces = (text[at : at + size] for at in range(0, len(text), size))
    counts = Counter[str]()
    unzipped._check_part("a", "xl/worksheets/sheet1.xml", pieces, counts)
    assert counts["rows"] == 2 * _ROWS


def test_a_bomb_of_rows_is_ended_at_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    _lowered(monkeypatch, rows=10)
    read: list[int] = []

    def pieces() -> object:
        for number in range(1_000):
            read.append(number)
            yield b"<row/>" * 5

    with pytest.raises(InputError, match="more than 10 rows"):
        unzipped._check_part("a", "xl/worksheets/sheet1.xml", pieces(), Counter())  # type: ignore[arg-type]
    assert len(read) == 3


def test_what_is_large_is_read_and_brought_in_by_another_process(
    empty_client: TestClient, empty_app: Starlette, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Control: what is small is not. It comes in as one act that the page names, to be undone."""
    asked: list[str] = []
    workers = empty_app.state.workers
    aside = workers.aside

    def noted(call: object, *given: object) -> object:
        asked.append(call.__name__)  # type: ignore[attr-defined]
        return aside(call, *given)

    monkeypatch.setattr(workers, "aside", noted)
    small = empty_client.post("/exchange/import", files={"file": ("reeds.csv", csv_of(3))})
    assert (small.status_code, asked) == (200, [])
    monkeypatch.setattr(exchange, "_SMALL", {})
    monkeypatch.setattr(exchange, "_SMALL_PACKED", 0)
    seen = empty_client.post("/exchange/import", files={"file": ("reeds.csv", csv_of(_ROWS))})
    waiting = _WAITING.search(seen.text)
    assert waiting is not None
    done = empty_client.post("/exchange/commit", data={"waiting": waiting[1]}, follow_redirects=False)
    assert done.status_code == 303
    assert "did=" in done.headers["location"]
    assert asked == ["_looked_over", "_brought_in"]
    with empty_app.state.context.ledger.reading() as reader:
        assert len(reader.rows(ReedRecord)) == _ROWS


def test_what_is_amiss_in_a_large_file_is_said_all_the_same(
    empty_client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(exchange, "_SMALL", {})
    monkeypatch.setattr(exchange, "_SMALL_PACKED", 0)
    bad = empty_client.post("/exchange/import", files={"file": ("reeds.csv", b"\xff\xfe\x00")})
    assert bad.status_code == 422
    assert "Not saved" in bad.text


def test_an_error_is_the_same_in_another_process() -> None:
    given = InputError(field="a", given="b", allowed="c", nearest="d")
    back = pickle.loads(pickle.dumps(given))  # noqa: S301 - our own
    assert (type(back), str(back), back.field, back.nearest) == (InputError, str(given), "a", "d")
    assert str(pickle.loads(pickle.dumps(ImportRefusedError.__new__(ImportRefusedError)))) == ""  # noqa: S301


def test_another_reader_does_not_wait_while_a_file_is_looked_over(tmp_path: Path) -> None:
    """Many seconds of work; a page takes a tenth of one, on a busy machine a few."""
    with serving(tmp_path / "ledger.db") as bench:
        browser = PlainBrowser(bench.link)
        with another_reader(browser, "/help") as before:
            time.sleep(1.0)
        with another_reader(browser, "/help") as waits:
            status, _, _ = browser.send("/exchange/import", "reeds.csv", csv_of(20_000))
    assert status == 200
    assert waits.failed == []
    assert len(waits.pages_s) >= 5
    # Not a second more than without it.
    assert waits.longest_s < before.longest_s + 1.0


def test_control_a_reader_that_waits_is_seen_to() -> None:
    class Slow(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            time.sleep(1.2)
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Nothing."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Slow) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        browser = PlainBrowser(f"http://127.0.0.1:{server.server_port}/enter")
        with another_reader(browser, "/") as waits:
            time.sleep(0.2)
        server.shutdown()
    assert waits.longest_s > 1.0
