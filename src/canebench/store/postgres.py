"""PostgreSQL as the ledger's place, through psycopg (the extra `postgres`).

Nothing is waited for without end: not a server that does not answer, not another's lock, not a network that
has fallen silent. Guarded by `tests/store/test_contract.py` and `tests/store/test_server_lost.py`.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from time import monotonic
from typing import TYPE_CHECKING, Any, Final

from canebench.base.errors import InputError
from canebench.store.database import (
    WRITE_LOCK,
    LedgerError,
    LedgerHeldError,
    OutcomeUnknownError,
    held_too_long,
)

try:
    import psycopg
    from psycopg.conninfo import conninfo_to_dict, make_conninfo
    from psycopg.pq import TransactionStatus
    from psycopg.rows import dict_row, tuple_row
except ImportError as error:
    raise InputError(
        field="ledger",
        given="postgresql://…",
        allowed="the extra postgres is needed for that: pip install 'canebench[postgres]'",
    ) from error

if TYPE_CHECKING:
    from collections.abc import Generator, Iterator, Sequence
    from contextlib import AbstractContextManager

    from canebench.store.database import Connection
    from canebench.store.tables import Row, Value

    _Waiting = Generator[Any, Any, Any]

#: How long another's lock is waited for, s: as long as that of a file.
LOCK_S: Final = 60.0
#: How long any one answer is waited for, s: longer than any statement of ours takes, and than a lock.
SILENT_S: Final = 120.0
#: How often the time is looked at while an answer is waited for, s.
LOOK_S: Final = 0.1
#: What a URL may say otherwise: how long a connection may take, and when a network is taken for dead.
_PATIENCE: Final = {
    "connect_timeout": "10",
    "tcp_user_timeout": "30000",
    "keepalives_idle": "15",
    "keepalives_interval": "5",
    "keepalives_count": "3",
}
#: For one transaction: and one that its client has left lying gives up its locks.
_LIMITS: Final = (
    f"SET LOCAL lock_timeout = {LOCK_S * 1000:.0f}; SET LOCAL idle_in_transaction_session_timeout = 300000"
)
_WHERE: Final = "ledger on PostgreSQL"


@dataclass(frozen=True, slots=True)
class _PostgresConnection:
    raw: psycopg.Connection[dict[str, Any]]

    def rows(self, sql: str, values: Sequence[Value] = ()) -> list[Row]:
        return list(self.raw.execute(_placed(sql), values).fetchall())

    def tuples(self, sql: str, values: Sequence[Value] = ()) -> list[tuple[Any, ...]]:
        with self.raw.cursor(row_factory=tuple_row) as cursor:
            return cursor.execute(_placed(sql), values).fetchall()

    def run(self, sql: str, values: Sequence[Value] = ()) -> int:
        return self.raw.execute(_placed(sql), values).rowcount


class _PatientConnection(psycopg.Connection[dict[str, Any]]):
    """One that waits for an answer only so long: what a silent network holds back, TCP waits for forever."""

    def wait(self, gen: _Waiting, interval: float = LOOK_S, timeout: float | None = None) -> Any:  # noqa: ARG002
        return super().wait(_within(SILENT_S, gen), interval=interval)


def _within(seconds: float, gen: _Waiting) -> _Waiting:
    """The same generator, with an end to its waiting."""
    until = monotonic() + seconds
    wanted = next(gen)
    while True:
        ready = yield wanted
        if not ready and monotonic() > until:
            raise psycopg.OperationalError(f"the server has said nothing for {seconds:.0f} s")
        try:
            wanted = gen.send(ready)
        except StopIteration as done:
            return done.value


class Postgres:
    """A server's database."""

    dialect = "postgresql"

    def __init__(self, url: str) -> None:
        self.url = url

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """One state: a repeatable read."""
        with self._begun("ISOLATION LEVEL REPEATABLE READ READ ONLY") as raw:
            yield _PostgresConnection(raw)

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """All or nothing, one writer at a time."""
        with self._begun("READ WRITE") as raw:
            raw.execute("SELECT pg_advisory_xact_lock(%s)", (WRITE_LOCK,))
            yield _PostgresConnection(raw)
            try:
                raw.execute("COMMIT")
            except psycopg.OperationalError as error:
                if not _gone(raw):
                    raise
                # It may have been kept before the connection was lost, or be kept yet.
                raise OutcomeUnknownError(self.told(error), where=_WHERE) from error

    def alter(self) -> AbstractContextManager[Connection]:
        """As `write`: this database alters tables with its references held."""
        return self.write()

    def told(self, error: BaseException) -> LedgerError:
        """What the server says, in words."""
        if isinstance(error, psycopg.errors.LockNotAvailable):
            return LedgerHeldError(f"{_WHERE}: {held_too_long(LOCK_S)}. Nothing was changed.")
        said = (str(error).strip() or type(error).__name__).splitlines()[0]
        return LedgerError(f"{_WHERE}: {said}. Nothing was changed.")

    @contextmanager
    def _begun(self, how: str) -> Iterator[psycopg.Connection[dict[str, Any]]]:
        """A transaction on a connection of its own, taken back at the block's end where it still lasts."""
        with self._opened() as raw:
            raw.execute(f"BEGIN {how}; {_LIMITS}")
            try:
                yield raw
            finally:
                # One that waits for an answer is closed instead, and so taken back by the server.
                if raw.info.transaction_status in (TransactionStatus.INTRANS, TransactionStatus.INERROR):
                    raw.execute("ROLLBACK")

    @contextmanager
    def _opened(self) -> Iterator[psycopg.Connection[dict[str, Any]]]:
        try:
            given = conninfo_to_dict(self.url)
            raw = _PatientConnection.connect(
                make_conninfo(
                    self.url, **{name: _PATIENCE[name] for name in _PATIENCE.keys() - given.keys()}
                ),
                autocommit=True,
                row_factory=dict_row,
            )
        except psycopg.Error as error:
            raise LedgerError(f"{_WHERE}: {error}".strip()) from error
        try:
            yield raw
        except psycopg.IntegrityError:
            raise
        except psycopg.Error as error:
            raise self.told(error) from error
        finally:
            raw.close()


def _gone(raw: psycopg.Connection[dict[str, Any]]) -> bool:
    """Whether the connection is lost, or still waits for what never came."""
    return raw.closed or raw.info.transaction_status == TransactionStatus.ACTIVE


def _placed(sql: str) -> str:
    """Our `?` as psycopg's `%s`; no statement of ours holds either in a text."""
    return sql.replace("%", "%%").replace("?", "%s")
