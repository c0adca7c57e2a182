"""Every revision, oldest first: its name, and what brings a ledger of the one before it to it.

Each `upgrade` runs on a connection in a transaction that the caller opened. A new one goes to the end, and
`schema.HEAD` follows. Guarded by `tests/store/test_migrations.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.store.migrations.versions import (
    r0001_first,
    r0002_unused_columns,
    r0003_band,
    r0004_act_digests,
    r0005_breaking_in,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.store.database import Connection

REVISIONS: Final[tuple[tuple[str, Callable[[Connection, str], None]], ...]] = (
    ("0001", r0001_first.upgrade),
    ("0002", r0002_unused_columns.upgrade),
    ("0003", r0003_band.upgrade),
    ("0004", r0004_act_digests.upgrade),
    ("0005", r0005_breaking_in.upgrade),
)
