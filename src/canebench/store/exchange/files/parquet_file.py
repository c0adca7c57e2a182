"""Parquet out and in, through pyarrow (the extra `tables`).

Columns have their names; each one's unit stands in its metadata under `unit`. Guarded by
`tests/store/test_exchange.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, BinaryIO, Final

from canebench.base.errors import InputError
from canebench.store.exchange.sheet import (
    MOST_ROWS,
    Sheet,
    checked_headers,
    checked_rows,
    extra_needed,
    opened,
    told,
    written_columns,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from canebench.store.exchange.sheet import Numbered, Source
    from canebench.store.tables import Row, Table

_BATCH: Final = 1000
#: What the columns may take once unpacked, bytes.
_MOST_UNPACKED: Final = 1_000_000_000


def write_parquet(out: BinaryIO, table: Table, rows: Iterable[Row]) -> None:
    """All columns of some rows of a table."""
    pa, parquet = _pyarrow()
    columns = written_columns(table.columns)
    kinds = {"int": pa.int64(), "flag": pa.int64(), "real": pa.float64()}
    schema = pa.schema(
        [
            pa.field(
                column.name,
                kinds.get(column.kind, pa.string()),
                nullable=not column.needed,
                metadata={"unit": column.unit} if column.unit else None,
            )
            for column in columns
        ]
    )
    held = list(rows)
    arrays = [
        pa.array([row[column.name] for row in held], type=field.type)
        for column, field in zip(columns, schema, strict=True)
    ]
    parquet.write_table(pa.Table.from_arrays(arrays, schema=schema), out)


def read_parquet(source: Source) -> Sheet:
    """A Parquet file's rows."""
    pa, parquet = _pyarrow()
    name = told(source)
    with opened(source) as raw:
        try:
            file = parquet.ParquetFile(raw)
            headers, total = list(file.schema_arrow.names), int(file.metadata.num_rows)
            groups = [file.metadata.row_group(one) for one in range(file.num_row_groups)]
            unpacked = sum(int(one.total_byte_size) for one in groups)
        except (pa.ArrowException, OSError, ValueError) as error:
            raise _damaged(name, error) from error
    if total > MOST_ROWS:
        raise InputError(field=name, given=f"{total} rows", allowed=f"at most {MOST_ROWS} are read")
    if unpacked > _MOST_UNPACKED:
        raise InputError(
            field=name, given=f"{unpacked / 1e6:.0f} MB once unpacked", allowed="at most 1000 MB are read"
        )
    return Sheet(
        name=name,
        headers=checked_headers(name, headers),
        rows=lambda: checked_rows(name, _rows(source)),
        style="typed",
        total=total,
    )


def _rows(source: Source) -> Iterator[Numbered]:
    pa, parquet = _pyarrow()
    number = 0
    with opened(source) as raw:
        try:
            for batch in parquet.ParquetFile(raw).iter_batches(batch_size=_BATCH):
                for cells in zip(*(column.to_pylist() for column in batch.columns), strict=True):
                    number += 1
                    yield number, cells
        except (pa.ArrowException, OSError, ValueError) as error:
            raise _damaged(told(source), error) from error


def _damaged(name: str, error: Exception) -> InputError:
    said = str(error).splitlines()[0][:200] if str(error) else "it is damaged"
    return InputError(field=name, given="its bytes", allowed=f"it is no Parquet that can be read ({said})")


def _pyarrow() -> tuple[Any, Any]:
    try:
        import pyarrow as pa  # noqa: PLC0415 - an optional extra
        from pyarrow import parquet  # noqa: PLC0415
    except ImportError as error:
        raise extra_needed("parquet") from error
    return pa, parquet
