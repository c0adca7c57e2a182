"""A ledger that is opened once more in the same process stays locked for all others."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from canebench.store.database import LedgerError
from canebench.store.ledger import open_ledger
from canebench.store.sqlite import connect

if TYPE_CHECKING:
    import sqlite3
    from pathlib import Path

_WRITES = """
import sqlite3, sys
raw = sqlite3.connect(sys.argv[1], timeout=0, isolation_level=None)
try:
    raw.execute("BEGIN IMMEDIATE")
except sqlite3.OperationalError as error:
    sys.exit(3 if "locked" in str(error) else 1)
"""


def _other_is_kept_out(path: Path) -> bool:
    done = subprocess.run([sys.executable, "-c", _WRITES, str(path)], check=False, timeout=60)
    assert done.returncode in (0, 3)
    return done.returncode == 3


@pytest.fixture
def writing(tmp_path: Path) -> sqlite3.Connection:
    """A connection in the middle of an act."""
    open_ledger(str(tmp_path / "ledger.db"))
    raw = connect(tmp_path / "ledger.db")
    raw.execute("BEGIN IMMEDIATE")
    return raw


def test_a_second_connection_ends_no_lock(tmp_path: Path, writing: sqlite3.Connection) -> None:
    path = tmp_path / "ledger.db"
    assert _other_is_kept_out(path)
    connect(path).close()
    assert _other_is_kept_out(path)
    writing.execute("ROLLBACK")
    assert not _other_is_kept_out(path)
    writing.close()


def test_control_opening_the_file_beside_sqlite_would(tmp_path: Path, writing: sqlite3.Connection) -> None:
    (tmp_path / "ledger.db").open("rb").close()
    assert not _other_is_kept_out(tmp_path / "ledger.db")
    writing.close()


@pytest.mark.parametrize("size", [1, 2, 15, 16, 99, 100, 511, 512, 4096, 5000])
def test_what_is_no_ledger_stays_as_it_is(tmp_path: Path, size: int) -> None:
    path = tmp_path / "letter.txt"
    path.write_bytes(b"y" * size)
    with pytest.raises(LedgerError, match="not a ledger"):
        open_ledger(str(path))
    assert path.read_bytes() == b"y" * size
