"""Migrations: an old ledger comes up to date in one transaction, or stays as it was."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from canebench.store import migrate as migrating
from canebench.store.database import LedgerError, open_database
from canebench.store.ledger import open_ledger
from canebench.store.migrate import migrate, revision_of
from canebench.store.schema import HEAD

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

_BROKEN = '''"""A revision that fails half way."""
from alembic import op
revision = "9999"
down_revision = "0001"
branch_labels = None
depends_on = None
def upgrade():
    op.execute("CREATE TABLE half_made (id INTEGER)")
    op.execute("INSERT INTO nowhere VALUES (1)")
'''


@pytest.mark.parametrize("dialect", ["sqlite", "postgresql"])
def test_a_new_place_comes_to_the_newest_revision_once(
    empty_place: Callable[[str], str], dialect: str
) -> None:
    database = open_database(empty_place(dialect))
    assert revision_of(database) is None
    migrate(database)
    assert revision_of(database) == HEAD
    migrate(database)
    assert revision_of(database) == HEAD


@pytest.mark.parametrize("dialect", ["sqlite", "postgresql"])
def test_a_revision_that_fails_leaves_the_ledger_as_it_was(
    fresh: Callable[[str], str], dialect: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = fresh(dialect)
    ledger = open_ledger(url)
    with ledger.act("player", who="A", said="x") as act:
        act.insert("players", {"name": "Morag"})
    with ledger.reading() as reader:
        before = reader.dump()
    scripts = tmp_path / "migrations"
    (scripts / "versions").mkdir(parents=True)
    original = migrating._SCRIPTS
    for path in (*original.glob("*.py"), *original.glob("versions/*")):
        if path.is_file():
            (scripts / path.relative_to(original)).write_bytes(path.read_bytes())
    (scripts / "versions" / "r9999_broken.py").write_text(_BROKEN)
    monkeypatch.setattr(migrating, "_SCRIPTS", scripts)
    with pytest.raises(Exception, match="nowhere"):
        migrate(open_database(url))
    assert revision_of(open_database(url)) == HEAD
    with ledger.reading() as reader:
        assert reader.dump() == before
    with pytest.raises(LedgerError, match="half_made"), ledger.database.read() as connection:
        connection.rows("SELECT * FROM half_made")


@pytest.mark.parametrize("dialect", ["sqlite", "postgresql"])
def test_a_ledger_from_the_future_is_left_alone(fresh: Callable[[str], str], dialect: str) -> None:
    url = fresh(dialect)
    open_ledger(url)
    with open_database(url).write() as connection:
        connection.run("UPDATE alembic_version SET version_num = '7777'")
    with pytest.raises(LedgerError, match="newer than this canebench knows"):
        open_ledger(url)


def test_opening_a_ledger_does_not_wait_for_the_migrations_toolkit(fresh: Callable[[str], str]) -> None:
    url = fresh("sqlite")
    open_ledger(url)
    code = (
        "import sys; from canebench.store.ledger import open_ledger; "
        f"open_ledger({url!r}); sys.exit('alembic' in sys.modules or 'sqlalchemy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False, timeout=60).returncode == 0
