"""Everything that is wrong with a ledger as it lies there: structure first, since damaged pages tell no rows.

Guarded by `tests/faults/test_row_damage.py` and `tests/store/test_rows_amiss.py`.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from canebench.store.schema import HEAD
from canebench.store.wholeness.in_parts import rows_in_parts
from canebench.store.wholeness.rows_amiss import rows_amiss
from canebench.store.wholeness.structure_amiss import structure_amiss, tables_amiss

if TYPE_CHECKING:
    from canebench.store.database import Connection


_ANY = "SELECT name FROM sqlite_master LIMIT 1"


def all_amiss(connection: Connection, *, dialect: str, revision: str | None) -> list[str]:
    """In words; nothing where it is whole. Of an older revision, only the structure is looked at."""
    found = structure_amiss(connection) if dialect == "sqlite" else []
    if not found and revision is None and dialect == "sqlite" and connection.rows(_ANY):
        return ["it has tables, and none that says it is a ledger"]
    if found or revision != HEAD:
        return found
    found = tables_amiss(connection) if dialect == "sqlite" else []
    return found or rows_amiss(partial(rows_in_parts, connection))
