"""SQLite: a ledger that is a file.

Foreign keys on, `BEGIN IMMEDIATE` for every write (a deferred one fails under contention in spite of its
timeout), `synchronous=EXTRA`: with FULL, the end of a rollback journal may itself be lost in a power cut, and
the act with it. Write-ahead logging only from 3.51.3 on, which mends a loss of its own, the rollback journal
before. Guarded by `tests/store/test_contract.py`, `tests/faults/test_kill.py` and
`tests/faults/test_power_cut.py`.
"""

from __future__ import annotations

import sqlite3
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from stat import S_ISREG
from typing import TYPE_CHECKING, Any, Final

from canebench.base.disk.owner_only import make_file
from canebench.store.database import LedgerError, LedgerHeldError, OutcomeUnknownError, held_too_long

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from canebench.store.database import Connection
    from canebench.store.tables import Row, Value

#: How long a write waits for another before it gives up, s.
WAIT_S: Final = 60.0
#: What every connection to SQLite begins with.
SETTINGS: Final = ("PRAGMA foreign_keys=ON", "PRAGMA synchronous=EXTRA")
#: What SQLite may leave beside its file.
SIDES: Final = ("-wal", "-shm", "-journal")
#: The first SQLite whose write-ahead log is trusted here.
_WAL_FROM: Final = (3, 51, 3)
#: How every SQLite file begins (SQLite's file format, section 1.3.1).
_SIGNATURE: Final = b"SQLite format 3\x00"
#: No SQLite file is shorter, bytes: its least page.
_LEAST: Final = 512


class UndecodableError(sqlite3.DatabaseError):
    """Text of the file that is none, in its rows or in what SQLite says of it: bits of it have turned."""


@dataclass(frozen=True, slots=True)
class _SqliteConnection:
    raw: sqlite3.Connection

    def rows(self, sql: str, values: Sequence[Value] = ()) -> list[Row]:
        with text_of_a_file():
            return [dict(row) for row in self.raw.execute(sql, values)]

    def tuples(self, sql: str, values: Sequence[Value] = ()) -> list[tuple[Any, ...]]:
        cursor = self.raw.cursor()
        cursor.row_factory = None
        with text_of_a_file():
            return cursor.execute(sql, values).fetchall()

    def run(self, sql: str, values: Sequence[Value] = ()) -> int:
        with text_of_a_file():
            return self.raw.execute(sql, values).rowcount


class text_of_a_file:  # noqa: N801 - reads as words of the with statement
    """What the driver cannot read as text in this block is an `UndecodableError`, like its other errors."""

    __slots__ = ()

    def __enter__(self) -> None:
        """Nothing is needed."""

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        """Python's own error, since the driver lets it through."""
        if isinstance(error, UnicodeDecodeError):
            raise UndecodableError(f"text of it cannot be read ({error.reason})") from error


class Sqlite:
    """A file."""

    dialect = "sqlite"

    def __init__(self, path: Path) -> None:
        self.path = path

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """One state: a deferred transaction that only reads."""
        with self._opened() as raw:
            with text_of_a_file():
                raw.execute("BEGIN")
            try:
                yield _SqliteConnection(raw)
            finally:
                # Closing ends it too: what was read is read.
                with suppress(sqlite3.Error):
                    raw.execute("ROLLBACK")

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """All or nothing, one writer at a time."""
        with self._opened() as raw, self._immediate(raw):
            yield _SqliteConnection(raw)

    @contextmanager
    def alter(self) -> Iterator[Connection]:
        """As `write`, with references looked at before the end, so that a table can be made anew."""
        with self._opened() as raw:
            raw.execute("PRAGMA foreign_keys=OFF")
            with self._immediate(raw):
                yield _SqliteConnection(raw)
                if broken := raw.execute("PRAGMA foreign_key_check").fetchall():
                    raise LedgerError(f"Migrating would break {len(broken)} references. Nothing was changed.")

    def told(self, error: BaseException) -> LedgerError:
        """What SQLite says, in words."""
        return _told(self.path, error)

    @contextmanager
    def _opened(self) -> Iterator[sqlite3.Connection]:
        try:
            raw = connect(self.path)
        except sqlite3.Error as error:
            raise self.told(error) from error
        try:
            yield raw
        except sqlite3.IntegrityError:
            raise
        except sqlite3.Error as error:
            raise self.told(error) from error
        finally:
            raw.close()

    @contextmanager
    def _immediate(self, raw: sqlite3.Connection) -> Iterator[None]:
        with text_of_a_file():
            raw.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._commit(raw)
        except BaseException:
            if raw.in_transaction:
                raw.execute("ROLLBACK")
            raise

    def _commit(self, raw: sqlite3.Connection) -> None:
        try:
            raw.execute("COMMIT")
        except sqlite3.OperationalError as error:
            if raw.in_transaction or not error.sqlite_errorname.startswith("SQLITE_IOERR"):
                raise
            # The journal may be gone, and the act kept, though its folder could not be synced.
            raise OutcomeUnknownError(self.told(error), where=f"ledger {self.path}") from error


def connect(path: Path) -> sqlite3.Connection:
    """A connection with the settings that keep acknowledged rows."""
    _check_file(path)
    # Whole: a path that begins with "file:" would be read as an address, and ":memory:" as no file.
    raw = sqlite3.connect(path.absolute(), timeout=WAIT_S, isolation_level=None)
    raw.row_factory = sqlite3.Row
    try:
        with text_of_a_file():
            for setting in SETTINGS:
                raw.execute(setting)
            if sqlite3.sqlite_version_info >= _WAL_FROM:
                raw.execute("PRAGMA journal_mode=WAL")
    except BaseException:
        raw.close()
        raise
    return raw


@contextmanager
def looking(path: Path) -> Iterator[Connection]:
    """A file that nobody writes, such as a backup's: looking makes no files beside it."""
    # Escaped: a "#" or "?" in the path would end it, and another file would be looked at.
    raw = sqlite3.connect(f"{path.absolute().as_uri()}?immutable=1", uri=True)
    raw.row_factory = sqlite3.Row
    try:
        yield _SqliteConnection(raw)
    finally:
        raw.close()


def _check_file(path: Path) -> None:
    """A new one is its owner's alone, and its journals take after it.

    SQLite takes a very short file for an empty one, and would write over it. A longer one is never opened
    here: closing it again would end every lock that this process has on it, a writer's too (POSIX, fcntl).
    """
    try:
        told = path.stat()
        start = path.read_bytes() if 0 < told.st_size < _LEAST and S_ISREG(told.st_mode) else b""
    except FileNotFoundError:
        with suppress(OSError):
            # Where this cannot be, SQLite says why.
            make_file(path)
        return
    except OSError as error:
        raise LedgerError(f"ledger {path}: {error.strerror or error}. Nothing was changed.") from error
    if start and not start.startswith(_SIGNATURE):
        raise LedgerError(f"ledger {path}: it is not a ledger. Nothing was changed.")


def _told(path: Path, error: BaseException) -> LedgerError:
    """What went wrong in words; nothing was half done, since every write is all or nothing."""
    undecodable = isinstance(error, UndecodableError) or "decode to UTF-8" in str(error)
    name = "SQLITE_CORRUPT" if undecodable else getattr(error, "sqlite_errorname", "") or ""
    reasons = {
        "SQLITE_FULL": "the disk is full",
        "SQLITE_READONLY": "it may only be read",
        "SQLITE_CANTOPEN": "it cannot be opened: does its folder exist, with write access?",
        "SQLITE_NOTADB": "it is not a ledger",
        "SQLITE_CORRUPT": "it is damaged: canebench verify, then restore a backup",
        "SQLITE_BUSY": held_too_long(WAIT_S),
        "SQLITE_IOERR": "the disk cannot be read or written",
    }
    for start, reason in reasons.items():
        if name.startswith(start):
            kind = LedgerHeldError if start == "SQLITE_BUSY" else LedgerError
            return kind(f"ledger {path}: {reason}. Nothing was changed.")
    return LedgerError(f"ledger {path}: {error}. Nothing was changed.")
