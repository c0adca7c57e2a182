"""What a ledger's database gives, SQLite by default or PostgreSQL by URL: transactions and plain SQL.

SQL is written with `?` for values and is common to both. Reading, writing and migrating go through the
drivers themselves.
All writers of one ledger follow each other. Guarded by `tests/store/test_contract.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, Protocol

from canebench.base.errors import CanebenchError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from canebench.store.tables import Row, Value

#: All writers of one ledger on PostgreSQL queue here, so that acts follow each other as in SQLite.
WRITE_LOCK: Final = 0x63616E65


class LedgerError(CanebenchError):
    """The ledger cannot be read or written as it stands."""

    code = "ledger"
    exit_status = 7


def none_kept(what: str, folder: Path, error: OSError) -> LedgerError:
    """Where nothing can be kept in a folder of ours."""
    why = error.strerror or type(error).__name__
    return LedgerError(f"{what} {folder}: none can be kept there ({why}). Nothing was changed.")


class LedgerHeldError(LedgerError):
    """Another program kept the ledger to itself for longer than is waited for.

    Whoever asks once more waits as long once more.
    """

    code = "ledger-held"
    http_status = 503


def held_too_long(seconds: float) -> str:
    """Why a ledger could not be written in, where the lock of another was waited for in vain."""
    return f"another program has held it for more than {seconds:.0f} s"


class OutcomeUnknownError(LedgerError):
    """The ledger went away when something was about to be kept: whether it was, its end did not tell.

    `unless_kept` is what to say once it is known that it was not.
    """

    code = "outcome-unknown"
    http_status = 503

    def __init__(self, unless_kept: LedgerError, *, where: str) -> None:
        self.unless_kept = unless_kept
        super().__init__(
            f"{where}: it went away before it said whether this was kept, and has not answered since. "
            "Look in the history before you do it again."
        )


class Connection(Protocol):
    """What both databases give: rows as dictionaries or as tuples, and the number of rows changed."""

    def rows(self, sql: str, values: Sequence[Value] = ()) -> list[Row]:
        """All rows of a query."""
        ...

    def tuples(self, sql: str, values: Sequence[Value] = ()) -> list[tuple[Any, ...]]:
        """The same without names, in the order of the query's columns: where many rows are read."""
        ...

    def run(self, sql: str, values: Sequence[Value] = ()) -> int:
        """Run a statement; the number of rows it changed."""
        ...


class Database(Protocol):
    """A place for a ledger."""

    dialect: str

    def read(self) -> Any:
        """A context whose `Connection` sees one unchanging state."""
        ...

    def write(self) -> Any:
        """A context whose `Connection` changes all or nothing.

        Raises `OutcomeUnknownError` where its end was asked for and no answer came.
        """
        ...

    def alter(self) -> Any:
        """As `write`, for changing tables: references are looked at when all is done."""
        ...

    def told(self, error: BaseException) -> LedgerError:
        """What a driver's error means, in words."""
        ...
