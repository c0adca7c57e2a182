"""A backup goes into the other kind of database too, and back: the same rows, acts and numbers."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from canebench.store.backups.backup import write_backup
from canebench.store.backups.restore import restore_backup
from canebench.store.backups.verify import MANIFEST, SEAL, seal_of
from canebench.store.database import LedgerError
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.migrate import make_at, revision_of
from canebench.store.records import LotRecord
from canebench.store.schema import HEAD
from canebench.store.sqlite import Sqlite
from support.ledgers import amiss_of, dump_of, last_act, take_in

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

AT = "2026-03-02T19:00:00.000Z"
_OTHER = {"sqlite": "postgresql", "postgresql": "sqlite"}


@pytest.fixture(autouse=True)
def own_data_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def _filled(ledger: Ledger) -> Ledger:
    take_in(ledger)
    ledger.undo(last_act(ledger), who="tester")
    lot, reeds = take_in(ledger, "sommer Ω")
    with ledger.act("play", who="Ailsa", said="played") as act:
        act.insert("plays", {"reed_id": reeds[0], "at": act.at, "minutes": 12.0})
        act.update(act.row(LotRecord, lot), {"remarks": 'quotes " and \\ lines\n', "count": 7})
    return ledger


def test_into_the_other_kind_and_back(
    dialect: str, ledger: Ledger, fresh: Callable[[str], str], tmp_path: Path
) -> None:
    before = dump_of(_filled(ledger))
    other = open_ledger(fresh(_OTHER[dialect]))
    take_in(other, "what was there")
    there = write_backup(ledger.database, None, tmp_path / "there", at=AT)
    restored = restore_backup(there, other.database, tmp_path / "takes", at=AT)
    assert restored.kept is not None
    assert dump_of(other) == before
    assert amiss_of(other) == []
    # Numbers go on where the backup left off, and the way back holds what was done meanwhile.
    take_in(other, "later")
    later = dump_of(other)
    back = write_backup(other.database, None, tmp_path / "back", at=AT)
    restore_backup(back, ledger.database, tmp_path / "takes", at=AT)
    assert dump_of(ledger) == later
    assert amiss_of(ledger) == []
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_a_servers_backup_where_no_file_is_yet(fresh: Callable[[str], str], tmp_path: Path) -> None:
    ledger = _filled(open_ledger(fresh("postgresql")))
    folder = write_backup(ledger.database, None, tmp_path / "backup", at=AT)
    place = Sqlite(tmp_path / "new" / "ledger.db")
    assert restore_backup(folder, place, tmp_path / "new" / "takes", at=AT).kept is None
    assert dump_of(open_ledger(str(place.path))) == dump_of(ledger)


def test_an_older_file_comes_up_to_date_on_its_way_to_a_server(
    fresh: Callable[[str], str], tmp_path: Path
) -> None:
    old = Sqlite(tmp_path / "old.db")
    make_at(old, "0002")
    with old.write() as connection:
        connection.run("INSERT INTO counters VALUES ('acts', 1), ('players', 1)")
        connection.run("INSERT INTO acts VALUES (1, '2026', 'Morag', 'player', 'Bram', NULL, NULL)")
        connection.run("INSERT INTO players (id, version, name) VALUES (1, 1, 'Bram')")
        row = {"id": 1, "version": 1, "name": "Bram", "removed_at": None}
        connection.run("INSERT INTO changes VALUES (1, 1, 'players', 1, NULL, ?)", [json.dumps(row)])
    assert revision_of(old) == "0002"
    folder = write_backup(old, None, tmp_path / "backup", at=AT)
    ledger = open_ledger(fresh("postgresql"))
    restore_backup(folder, ledger.database, tmp_path / "takes", at=AT)
    assert revision_of(ledger.database) == HEAD
    assert amiss_of(ledger) == []
    assert revision_of(old) == "0002"


def test_a_servers_backup_from_the_future_is_left_alone(
    ledger: Ledger, fresh: Callable[[str], str], tmp_path: Path
) -> None:
    folder = write_backup(open_ledger(fresh("postgresql")).database, None, tmp_path / "backup", at=AT)
    manifest = {**json.loads((folder / MANIFEST).read_text()), "revision": "7777"}
    text = json.dumps(manifest).encode()
    (folder / MANIFEST).write_bytes(text)
    (folder / SEAL).write_bytes(seal_of(text))
    before = dump_of(_filled(ledger))
    with pytest.raises(LedgerError, match="7777"):
        restore_backup(folder, ledger.database, tmp_path / "takes", at=AT)
    assert dump_of(ledger) == before
