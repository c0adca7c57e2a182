"""PostgreSQL as the ledger's place, through psycopg (the extra `postgres`)."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from canebench.base.errors import InputError
from canebench.store.database import WRITE_LOCK, LedgerError

try:
    import psycopg
    from psycopg.rows import dict_row
except ImportError as error:
    raise InputError(
        field="ledger",
        given="postgresql://…",
        allowed="the extra postgres is needed for that: pip install 'canebench[postgres]'",
    ) from error

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from contextlib import AbstractContextManager

    from canebench.store.database import Connection
    from canebench.store.tables import Row, Value


@dataclass(frozen=True, slots=True)
class _PostgresConnection:
    raw: psycopg.Connection[dict[str, Any]]

    def rows(self, sql: str, values: Sequence[Value] = ()) -> list[Row]:
        return list(self.raw.execute(_placed(sql), values).fetchall())

    def run(self, sql: str, values: Sequence[Value] = ()) -> int:
        return self.raw.execute(_placed(sql), values).rowcount


class Postgres:
    """A server's database."""

    dialect = "postgresql"

    def __init__(self, url: str) -> None:
        self.url = url

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """One state: a repeatable read."""
        with self._opened() as raw, raw.transaction():
            raw.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield _PostgresConnection(raw)

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """All or nothing, one writer at a time."""
        with self._opened() as raw, raw.transaction():
            raw.execute("SELECT pg_advisory_xact_lock(%s)", (WRITE_LOCK,))
            yield _PostgresConnection(raw)

    def alter(self) -> AbstractContextManager[Connection]:
        """As `write`: this database alters tables with its references held."""
        return self.write()

    def told(self, error: BaseException) -> LedgerError:
        """What the server says, in words."""
        said = (str(error).strip() or type(error).__name__).splitlines()[0]
        return LedgerError(f"ledger on PostgreSQL: {said}. Nothing was changed.")

    @contextmanager
    def _opened(self) -> Iterator[psycopg.Connection[dict[str, Any]]]:
        try:
            raw = psycopg.connect(self.url, autocommit=True, row_factory=dict_row)
        except psycopg.Error as error:
            raise LedgerError(f"ledger on PostgreSQL: {error}".strip()) from error
        try:
            yield raw
        except psycopg.IntegrityError:
            raise
        except psycopg.Error as error:
            raise self.told(error) from error
        finally:
            raw.close()


def _placed(sql: str) -> str:
    """Our `?` as psycopg's `%s`; no statement of ours holds either in a text."""
    return sql.replace("%", "%%").replace("?", "%s")
