"""A backup of one kind of database for the other: the same rows, in a file or as lines of JSON.

Guarded by `tests/store/test_backup_across.py`.
"""

from __future__ import annotations

import tempfile
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from canebench.base.disk.in_the_making import in_the_making
from canebench.base.disk.owner_only import copy_file
from canebench.store.backups.backup import fill
from canebench.store.backups.verify import FILE, rows_of
from canebench.store.migrate import make_at, migrate
from canebench.store.schema import HEAD
from canebench.store.sqlite import Sqlite, looking
from canebench.store.wholeness.in_parts import rows_in_parts

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from canebench.store.tables import Row


@contextmanager
def as_file(folder: Path, told: Mapping[str, Any], *, beside: Path) -> Iterator[Path]:
    """The SQLite file of a backup; one that is made of a server's rows lasts as long as the block."""
    if told["database"] == "sqlite":
        yield folder / FILE
        return
    with (
        tempfile.TemporaryDirectory(prefix=f".{beside.name}.", dir=beside.parent) as made,
        in_the_making(Path(made)),
    ):
        database = Sqlite(Path(made) / FILE)
        make_at(database, told["revision"])
        with database.write() as connection:
            fill(connection, partial(rows_of, folder))
        yield database.path


@contextmanager
def as_rows(folder: Path, told: Mapping[str, Any]) -> Iterator[Callable[[str], Iterable[Row]]]:
    """The rows of a backup by table; those of a file brought to the newest revision."""
    if told["database"] != "sqlite":
        yield partial(rows_of, folder)
        return
    with tempfile.TemporaryDirectory(prefix="canebench-") as made:
        path = folder / FILE
        if told["revision"] != HEAD:
            path = Path(made) / FILE
            copy_file(folder / FILE, path)
            migrate(Sqlite(path))
        with looking(path) as connection:
            yield partial(rows_in_parts, connection)
