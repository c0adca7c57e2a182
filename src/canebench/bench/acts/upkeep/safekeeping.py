"""Keeping the ledger safe: back up, verify, restore, and a snapshot before what changes much.

Guarded by `tests/doors/test_backup_command.py`.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from canebench.base.errors import NotFoundError
from canebench.bench.acts.ledger import check_there, ledger_url, takes_folder, the_writer
from canebench.store.backups.backup import write_backup
from canebench.store.backups.left_over import left_over, left_parts, sweep
from canebench.store.backups.restore import Restored, restore_backup
from canebench.store.backups.snapshots import snapshots, snapshots_folder
from canebench.store.backups.verify import ledger_amiss, recordings_amiss, told_of, verify_backup
from canebench.store.database import LedgerError
from canebench.store.engine import open_database
from canebench.store.ledger import open_ledger, utc_now
from canebench.store.migrate import revision_of
from canebench.store.values import written
from canebench.store.wholeness.all_amiss import all_amiss

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.store.database import Database
    from canebench.store.ledger import Ledger


#: Said of rows that came back as a backup had them: its files are as they were written, so it got them so.
_BEFORE: Final = "it was damaged already when the backup was made"


@dataclass(frozen=True, slots=True, kw_only=True)
class BackedUp:
    """A backup that was made and verified; `amiss` are rows and recordings that were damaged already."""

    folder: Path
    files: int
    size_bytes: int
    amiss: list[str]


def back_up(given_url: str | None, destination: Path, *, who: str | None = None) -> BackedUp:
    """Back up ledger and recordings into the new folder `destination`, and verify it; then empty the bin."""
    url = ledger_url(given_url)
    # Never an empty one that is made for it: that would look like a backup of what one has.
    check_there(url)
    ledger = open_ledger(url)
    sweep_up(given_url)
    sweep(left_parts(destination.parent))
    folder = write_backup(ledger.database, takes_folder(given_url), destination, at=written(ledger.clock()))
    files = [path for path in folder.rglob("*") if path.is_file()]
    told_of(folder)
    amiss = [*ledger_amiss(folder), *recordings_amiss(folder)]
    with suppress(LedgerError):
        # Only now: the backup still holds what the bin loses. Where it cannot be, the next one does it.
        ledger.empty_bin(who=the_writer(who))
    return BackedUp(
        folder=folder,
        files=len(files),
        size_bytes=sum(path.stat().st_size for path in files),
        amiss=amiss,
    )


def _check_there(folder: Path) -> None:
    if not folder.is_dir():
        raise NotFoundError(f"There is no backup {folder}.")


def check(folder: Path) -> list[str]:
    """What is wrong with a backup or the ledger and recordings it was made of; empty where all is whole."""
    _check_there(folder)
    return verify_backup(folder) or [*ledger_amiss(folder), *recordings_amiss(folder)]


def damaged_when_made(folder: Path) -> list[str]:
    """Its rows that were damaged already when it was made; a `LedgerError` where it is not whole now."""
    _check_there(folder)
    told_of(folder)
    return ledger_amiss(folder)


def restore(given_url: str | None, folder: Path) -> Restored:
    """Put a backup in the ledger's place, damaged rows and all; what was there is kept beside it."""
    _check_there(folder)
    url, at = ledger_url(given_url), written(utc_now())
    database = open_database(url)
    if database.dialect != "sqlite":
        # An empty server's database gets its tables first.
        database = open_ledger(url).database
    sweep_up(given_url)
    restored = restore_backup(folder, database, takes_folder(given_url), at=at)
    return replace(restored, amiss=_came_back_damaged(open_ledger(url).database))


def _came_back_damaged(database: Database) -> tuple[str, ...]:
    """As `doctor` looks: the rows of an older revision too, now that they are migrated."""
    try:
        with database.read() as connection:
            said = all_amiss(connection, dialect=database.dialect, revision=revision_of(database))
    except LedgerError:
        said = ["some of its rows cannot be read as they were written"]
    return tuple(f"{one}: {_BEFORE}" for one in said)


def what_is_left(given_url: str | None) -> list[Path]:
    """What killed commands left half made beside the ledger."""
    database = open_database(ledger_url(given_url))
    return left_over(database, snapshots_folder(database), takes_folder(given_url))


def sweep_up(given_url: str | None) -> None:
    """Away with that."""
    sweep(what_is_left(given_url))


def snapshots_of(ledger: Ledger) -> list[Path]:
    """The snapshots there are, newest first."""
    return snapshots(ledger.database)
