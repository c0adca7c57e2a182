"""From the ledger's address to its database."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.store.sqlite import Sqlite

if TYPE_CHECKING:
    from canebench.store.database import Database

#: A path may hold `://` too, but not after what could be a scheme (RFC 3986, section 3.1).
_ADDRESS: Final = re.compile(r"([A-Za-z][A-Za-z0-9+.-]+)://(.*)", re.DOTALL)
_SERVERS: Final = ("postgresql", "postgres")


def open_database(url: str) -> Database:
    """`postgresql://…`, or a path (or `sqlite:///path`) of a file that may not exist yet."""
    path = file_of(url)
    if path is not None:
        return Sqlite(path)
    from canebench.store.postgres import Postgres  # noqa: PLC0415 - an optional extra

    return Postgres(url)


def file_of(url: str) -> Path | None:
    """The file of a ledger, there or not; None on a server. A path stands as it is: nothing is escaped."""
    found = _ADDRESS.fullmatch(url)
    if found is None:
        return Path(url)
    scheme, rest = found.groups()
    if scheme in _SERVERS:
        return None
    if scheme != "sqlite" or not rest:
        raise InputError(
            field="ledger", given=url, allowed="a path, sqlite:///path or postgresql://… is known"
        )
    return Path(rest.removeprefix("/") if rest.startswith("/./") else re.sub("^/+", "/", rest))


def place_of(url: str) -> str:
    """Where a ledger is, for people: a server's without its password."""
    path = file_of(url)
    return url.rpartition("@")[2] if path is None else str(path)
