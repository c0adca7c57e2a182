"""Where the ledger is, and who writes in it.

Guarded by `tests/doors/test_ledger_commands.py`.
"""

from __future__ import annotations

import getpass
import os
from difflib import get_close_matches
from typing import TYPE_CHECKING, TypeVar

from canebench.base.disk.owner_only import make_folder
from canebench.base.errors import InputError, NotFoundError
from canebench.bench.acts.near_names import NearNameError, near_name
from canebench.store.database import LedgerError, LedgerHeldError
from canebench.store.engine import file_of, place_of
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.reader import ActRecord
from canebench.store.records import LotRecord, NamedRecord, ReedRecord
from canebench.store.refused_edits import Differing, StaleEditError
from canebench.store.writer import Writer

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.store.reader import Reader
    from canebench.store.records import Record

#: What doors hand on without looking inside.
__all__ = [
    "ActRecord",
    "Differing",
    "Ledger",
    "LedgerError",
    "LedgerHeldError",
    "StaleEditError",
    "Writer",
]

Named = TypeVar("Named", bound=NamedRecord)

LEDGER_VARIABLE = "CANEBENCH_LEDGER"
WHO_VARIABLE = "CANEBENCH_WHO"


def ledger_url(given: str | None) -> str:
    """The ledger asked for, else that of the environment, else the user's own file."""
    chosen = given or os.environ.get(LEDGER_VARIABLE)
    if chosen:
        return chosen
    from platformdirs import user_data_path  # noqa: PLC0415 - only where nothing was said

    return str(user_data_path("canebench") / "ledger.db")


def place_said(given: str | None) -> str:
    """Where the ledger is, for people to read."""
    return place_of(ledger_url(given))


def check_there(given: str) -> None:
    """A `NotFoundError` where no ledger is at a place that was named, with the nearest name that is there.

    Of a server nothing is said here: it tells for itself.
    """
    path = file_of(given)
    if path is None or path.exists():
        return
    folder = path.parent
    others = [one.name for one in folder.iterdir() if one.is_file()] if folder.is_dir() else []
    close = get_close_matches(path.name, others, n=1, cutoff=0.6)
    meant = f" Did you mean {folder / close[0]}?" if close else ""
    where = "" if folder.is_dir() else f", and no folder {folder}"
    raise NotFoundError(f"There is no ledger {path}{where}.{meant}")


def the_ledger(given: str | None) -> Ledger:
    """Open it, making its folder and itself where there is none yet."""
    url = ledger_url(given)
    path = file_of(url)
    if path is not None:
        try:
            make_folder(path.parent)
        except OSError as error:
            raise InputError(
                field="ledger",
                given=url,
                allowed=f"its folder cannot be made ({error.strerror or type(error).__name__})",
            ) from error
    return open_ledger(url)


def takes_folder(given: str | None) -> Path:
    """Where recordings are kept: beside the ledger's file, or with the user's own data for a server's."""
    path = file_of(ledger_url(given))
    if path is None:
        from platformdirs import user_data_path  # noqa: PLC0415

        return user_data_path("canebench") / "takes"
    return path.parent / "takes"


def season_folder(given: str | None) -> Path:
    """Where the invented season lies that is made beside a ledger, never in it."""
    return takes_folder(given).parent / "invented-season"


def the_writer(given: str | None) -> str:
    """Who does this: as told, else the environment's, else the name on this computer."""
    return given or os.environ.get(WHO_VARIABLE) or getpass.getuser()


def reed_numbered(reader: Reader, number: str) -> ReedRecord:
    """The reed with that number on its binding."""
    found = reader.find(ReedRecord, "number", number)
    if found is None:
        near = near_name(number, reader.texts(ReedRecord, "number"))
        raise NotFoundError(f"There is no reed {number} in this ledger." + meant(near))
    return found


def named(reader: Reader, record: type[Named], name: str) -> Named:
    """The player or chanter, lot or drone, of that name."""
    found = reader.find(record, "name", name)
    if found is None:
        names = reader.texts(record, "name")
        near = near_name(name, names)
        known = meant(near) or f" There are: {', '.join(names[:10]) or 'none yet'}."
        raise NotFoundError(f"There is no {record.noun} named {name!r}.{known}")
    return found


def meant(near: str | None) -> str:
    """The question whether that is meant, after a sentence; nothing where nothing is near."""
    return "" if near is None else f" Did you mean {near}?"


def check_new(reader: Reader, record: type[Record], name: str, *, column: str = "name", field: str) -> None:
    """A `NearNameError` where a new row's name is another's but for capitals, spaces or leading zeros."""
    near = near_name(name, reader.texts(record, column))
    if near is not None:
        # A lot is taken in once; whatever else goes by a name can be gone on with.
        raise NearNameError(field=field, given=name, meant=near, offered=record is not LotRecord)


def renamed(row: NamedRecord, name: str | None) -> str:
    """What a row is called once it has that name, and what it was: "Ann, until now Anne"."""
    return row.name if name in (None, row.name) else f"{name}, until now {row.name}"


def check_renamed(reader: Reader, row: NamedRecord, name: str | None) -> None:
    """An error where a row's new name is another's but for capitals, spaces or leading zeros."""
    others = [one for one in reader.texts(type(row), "name") if one != row.name]
    near = None if name is None or name == row.name else near_name(name, others)
    if near is not None:
        raise NearNameError(field="name", given=name or "", meant=near, offered=False)
