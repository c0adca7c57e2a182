"""From the ledger's address to its database."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from canebench.base.errors import InputError
from canebench.store.sqlite import Sqlite

if TYPE_CHECKING:
    from canebench.store.database import Database


def open_database(url: str) -> Database:
    """`postgresql://…`, or a path (or `sqlite:///path`) of a file that may not exist yet."""
    if url.startswith(("postgresql://", "postgres://")):
        from canebench.store.postgres import Postgres  # noqa: PLC0415 - an optional extra

        return Postgres(url)
    scheme, _, rest = url.partition("://")
    if rest and scheme != "sqlite":
        raise InputError(
            field="ledger", given=url, allowed="a path, sqlite:///path or postgresql://… is known"
        )
    return Sqlite(Path(rest.removeprefix("/") if rest.startswith("/./") else rest) if rest else Path(url))
