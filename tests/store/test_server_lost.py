"""A server that goes away, falls silent or holds on: what was kept is told, nothing waited for for ever."""

from __future__ import annotations

import sqlite3
import threading
import time
from typing import TYPE_CHECKING

import psycopg
import pytest

from canebench.store import postgres
from canebench.store import sqlite as files
from canebench.store.database import WRITE_LOCK, LedgerError, OutcomeUnknownError
from canebench.store.ledger import open_ledger
from canebench.store.records import PlayerRecord
from canebench.store.sqlite import Sqlite
from canebench.store.wholeness import was_kept
from support.cut_proxy import Cut, CutProxy, cut_proxy
from support.ledgers import amiss_of, dump_of, take_in

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from canebench.store.ledger import Ledger
    from support.postgres_server import PostgresServer


@pytest.fixture
def proxy(server: PostgresServer) -> Iterator[CutProxy]:
    with cut_proxy(server.folder) as made:
        yield made


@pytest.fixture
def direct(fresh: Callable[[str], str]) -> Ledger:
    """The ledger as others see it."""
    return open_ledger(fresh("postgresql"))


@pytest.fixture
def ledger(proxy: CutProxy, direct: Ledger) -> Ledger:
    """The same, by the way that is cut."""
    assert isinstance(direct.database, postgres.Postgres)
    return open_ledger(proxy.url(direct.database.url))


def _act(ledger: Ledger, name: str) -> int:
    with ledger.act("player", who="Ailsa", said=name) as act:
        return act.insert("players", {"name": name})


def _names(ledger: Ledger) -> list[str]:
    with ledger.reading() as reader:
        return [row.name for row in reader.rows(PlayerRecord)]


@pytest.mark.parametrize(("cut", "kept"), [("before", False), ("after", True), ("late", True)])
@pytest.mark.parametrize("away_s", [0.0, 1.2])
def test_what_was_kept_is_looked_up(
    proxy: CutProxy, ledger: Ledger, direct: Ledger, cut: Cut, kept: bool, away_s: float
) -> None:
    proxy.cut, proxy.away_s = cut, away_s
    if kept:
        assert _act(ledger, "Bram") == 1
    else:
        with pytest.raises(LedgerError, match=r"Nothing was changed\.$"):
            _act(ledger, "Bram")
    assert proxy.cuts == 1
    assert _names(direct) == ["Bram"] * kept
    _act(ledger, "Ceit")
    assert _names(direct) == ["Bram"] * kept + ["Ceit"]
    assert amiss_of(direct) == []


def test_an_undoing_is_looked_up_too(proxy: CutProxy, ledger: Ledger, direct: Ledger) -> None:
    take_in(ledger)
    proxy.cut = "after"
    assert ledger.undo(1, who="Ailsa") == 2
    assert dump_of(direct)["acts"][0]["undone_by"] == 2


@pytest.mark.parametrize("cut", ["before", "after"])
def test_a_server_that_does_not_come_back_leaves_it_unknown(
    proxy: CutProxy, ledger: Ledger, cut: Cut, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(was_kept, "_ASK_S", 0.6)
    proxy.cut, proxy.away_s = cut, 60.0
    with pytest.raises(OutcomeUnknownError, match="Look in the history before you do it again") as raised:
        _act(ledger, "Bram")
    assert "Nothing was changed" not in str(raised.value)


def test_control_without_looking_up_what_was_kept_would_be_denied(
    proxy: CutProxy, ledger: Ledger, direct: Ledger
) -> None:
    """The sentence that stood here before is wrong of just this cut."""
    proxy.cut = "after"
    with pytest.raises(OutcomeUnknownError) as raised, ledger.database.write() as connection:
        connection.run("INSERT INTO players (id, version, name) VALUES (1, 1, 'Bram')")
    assert str(raised.value.unless_kept).endswith("Nothing was changed.")
    # The server ends the act when it comes to it: its client was told nothing, and no later.
    until = time.monotonic() + 30
    while not _names(direct) and time.monotonic() < until:
        time.sleep(0.05)
    assert _names(direct) == ["Bram"]


def test_a_network_that_falls_silent_is_given_up(
    proxy: CutProxy, ledger: Ledger, direct: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(postgres, "SILENT_S", 0.5)
    proxy.cut = "silent"
    start = time.monotonic()
    with pytest.raises(LedgerError, match="the server has said nothing"):
        _act(ledger, "Bram")
    assert 0.4 < time.monotonic() - start < 30
    assert _names(direct) == []


def test_a_server_that_does_not_answer_is_given_up(proxy: CutProxy, direct: Ledger) -> None:
    assert isinstance(direct.database, postgres.Postgres)
    proxy.mute = True
    start = time.monotonic()
    with pytest.raises(LedgerError, match=r"timeout|time"):
        open_ledger(f"{proxy.url(direct.database.url)}&connect_timeout=2")
    assert time.monotonic() - start < 30


def test_anothers_lock_is_waited_for_only_so_long(
    ledger: Ledger, direct: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert isinstance(direct.database, postgres.Postgres)
    assert "lock_timeout = 60000" in postgres._LIMITS
    monkeypatch.setattr(postgres, "_LIMITS", "SET LOCAL lock_timeout = 300")
    with psycopg.connect(direct.database.url) as other:
        other.execute("SELECT pg_advisory_lock(%s)", (WRITE_LOCK,))
        with pytest.raises(LedgerError, match=r"another program has held it.*Nothing was changed"):
            _act(ledger, "Bram")
    assert _act(ledger, "Bram") == 1


def test_a_lock_that_is_let_go_in_time_is_got(ledger: Ledger, direct: Ledger) -> None:
    assert isinstance(direct.database, postgres.Postgres)
    with psycopg.connect(direct.database.url) as other:
        other.execute("SELECT pg_advisory_lock(%s)", (WRITE_LOCK,))
        waiting = threading.Thread(target=_act, args=(ledger, "Bram"))
        waiting.start()
        waiting.join(timeout=0.3)
        assert waiting.is_alive()
    waiting.join(timeout=30)
    assert _names(direct) == ["Bram"]


class _UnsyncedEnd:
    """As where the journal is gone, so the act is kept, and its folder could not be synced."""

    def __init__(self, raw: sqlite3.Connection, *, kept: bool) -> None:
        self._raw, self._kept = raw, kept

    def __getattr__(self, name: str) -> object:
        return getattr(self._raw, name)

    def execute(self, sql: str, values: tuple[object, ...] = ()) -> object:
        """As the driver, but for an end that fails."""
        if sql != "COMMIT":
            return self._raw.execute(sql, values)
        self._raw.execute("COMMIT" if self._kept else "ROLLBACK")
        error = sqlite3.OperationalError("disk I/O error")
        error.sqlite_errorname = "SQLITE_IOERR_DIR_FSYNC"
        raise error


@pytest.mark.parametrize("kept", [True, False])
def test_an_end_that_a_file_does_not_tell_is_looked_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kept: bool
) -> None:
    ledger = open_ledger(str(tmp_path / "ledger.db"))
    connect, calls = files.connect, iter(range(99))

    def first_fails(path: Path) -> object:
        raw = connect(path)
        return _UnsyncedEnd(raw, kept=kept) if next(calls) == 0 else raw

    monkeypatch.setattr(files, "connect", first_fails)
    assert isinstance(ledger.database, Sqlite)
    if kept:
        assert _act(ledger, "Bram") == 1
    else:
        with pytest.raises(LedgerError, match=r"the disk cannot be read or written\. Nothing was changed"):
            _act(ledger, "Bram")
    assert _names(ledger) == ["Bram"] * kept
