"""Every act gets a digest over itself, its changes and the act before: damage inside rows can be told.

A later migration that rewrites acts or changes writes these digests again (`redo`), as it is the last to know
what they hold. Guarded by `tests/store/test_migrations.py` and `tests/faults/test_row_damage.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.store.wholeness.act_digest import ActDigest
from canebench.store.wholeness.in_parts import rows_in_parts

if TYPE_CHECKING:
    from canebench.store.database import Connection


def upgrade(connection: Connection, dialect: str) -> None:
    """A column more, filled for the acts there are."""
    kind = "TEXT" if dialect == "sqlite" else 'TEXT COLLATE "C"'
    connection.run(f"ALTER TABLE acts ADD COLUMN digest {kind}")
    redo(connection)


def redo(connection: Connection) -> None:
    """The digest of every act as it stands."""
    before = None
    changes = rows_in_parts(connection, "changes")
    change = next(changes, None)
    for act in rows_in_parts(connection, "acts"):
        digest = ActDigest()
        while change is not None and change["act_id"] <= act["id"]:
            digest.add(change)
            change = next(changes, None)
        before = digest.of(act, before)
        connection.run("UPDATE acts SET digest = ? WHERE id = ?", (before, act["id"]))
