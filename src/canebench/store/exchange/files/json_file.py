"""The whole ledger as one JSON object, `canebench.ledger/1`, out and in.

`docs/ledger.schema.json` describes it, and `docs/read_ledger.py` reads it without a package of ours. Numbers
have all the digits that tell them apart, nothing is null, text is as it is. Guarded by
`tests/store/test_exchange.py`.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, BinaryIO, Final

from canebench.base.errors import InputError
from canebench.store.exchange.sheet import (
    Sheet,
    checked_headers,
    checked_rows,
    opened,
    told,
    written_columns,
)
from canebench.store.tables import TABLES, table_named

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from canebench.store.exchange.sheet import Numbered, Source
    from canebench.store.tables import Column, Row

NAME: Final = "canebench.ledger/1"
_TYPES: Final = {"int": "integer", "real": "number", "flag": "integer"}
_WORDS: Final = {
    "when": "ISO 8601 time in UTC; read in any zone, and as UTC where it says none",
    "day": "ISO 8601 date",
    "flag": "0 or 1",
}


def write_json(out: BinaryIO, tables: Mapping[str, Iterable[Row]], *, written_at: str) -> None:
    """Some tables' rows, one row to a line."""

    def put(text: str) -> None:
        out.write(text.encode("utf-8"))

    put(f'{{\n"schema": {_json(NAME)},\n"written_at": {_json(written_at)},\n"tables": {{')
    for place, (name, rows) in enumerate(tables.items()):
        columns = written_columns(table_named(name).columns)
        put("," if place else "")
        put(
            f'\n{_json(name)}: {{\n"columns": {_json([_described(column) for column in columns])},\n"rows": ['
        )
        for count, row in enumerate(rows):
            put(",\n" if count else "\n")
            put(_json({column.name: row[column.name] for column in columns}))
        put("\n]}")
    put("\n}\n}\n")


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _described(column: Column) -> dict[str, str | None]:
    return {"name": column.name, "kind": column.kind, "unit": column.unit, "refers": column.refers}


def read_json(source: Source) -> dict[str, Sheet]:
    """Every table that the object holds."""
    name = told(source)
    with opened(source) as raw:
        data = raw.read()
    try:
        whole = json.loads(data, parse_constant=_refused_constant, object_pairs_hook=_once)
    except (ValueError, RecursionError) as error:
        said = "it is nested too deep" if isinstance(error, RecursionError) else f"it is no JSON ({error})"
        raise InputError(field=name, given="its text", allowed=said) from error
    if not isinstance(whole, dict) or whole.get("schema") != NAME:
        given = repr(whole.get("schema"))[:60] if isinstance(whole, dict) else "no object"
        raise InputError(field=f"schema of {name}", given=given, allowed=f'"{NAME}" is read')
    tables = whole.get("tables")
    if not isinstance(tables, dict):
        raise InputError(field=f"tables of {name}", given="no object", allowed="one object for each table")
    return {table: _sheet(name, table, held) for table, held in tables.items()}


def _sheet(name: str, table: str, held: object) -> Sheet:
    known = table_named(table)
    rows = held.get("rows") if isinstance(held, dict) else None
    where = f"{table} in {name}"
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise InputError(field=where, given="no list of rows", allowed='"rows" is a list of objects')
    headers = {column.name: None for column in written_columns(known.columns)}
    for row in rows:
        headers.update(dict.fromkeys(row))
    found = checked_headers(where, list(headers))
    return Sheet(
        name=where,
        headers=found,
        rows=lambda: checked_rows(where, _numbered(rows, found)),
        style="typed",
        total=len(rows),
    )


def _numbered(rows: list[dict[str, Any]], headers: tuple[str, ...]) -> Iterator[Numbered]:
    for number, row in enumerate(rows, start=1):
        yield number, [row.get(header) for header in headers]


def _refused_constant(word: str) -> object:
    raise ValueError(f"{word} is no number of JSON")


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name stands twice in one object")
    return found


def schema() -> dict[str, object]:
    """What `docs/ledger.schema.json` says, made from the tables."""
    return {
        "$id": NAME,
        "title": "A ledger's tables",
        "description": (
            "Every row outside the bin, tables in an order in which each refers only to those before it. "
            "What is not known is null, never 0. Tables and columns may be added under this name; none "
            "changes its meaning. Columns that no act ever filled may go."
        ),
        "type": "object",
        "required": ["schema", "written_at", "tables"],
        "properties": {
            "schema": {"const": NAME},
            "written_at": {"type": "string", "description": "ISO 8601 time in UTC."},
            "tables": {"type": "object", "properties": {name: _table_schema(name) for name in TABLES}},
        },
        "$defs": {
            "columns": {
                "type": "array",
                "description": "What the rows' names mean, in their order.",
                "items": {
                    "type": "object",
                    "required": ["name", "kind", "unit", "refers"],
                    "properties": {
                        "name": {"type": "string"},
                        "kind": {"enum": ["int", "real", "text", "when", "day", "flag"]},
                        "unit": {"type": "string", "description": "Empty for what has none."},
                        "refers": {
                            "type": ["string", "null"],
                            "description": "The table whose id the column holds.",
                        },
                    },
                },
            }
        },
    }


def _table_schema(name: str) -> dict[str, object]:
    columns = written_columns(TABLES[name].columns)
    row = {
        "type": "object",
        "required": [column.name for column in columns],
        "properties": {column.name: _column_schema(column) for column in columns},
    }
    return {
        "type": "object",
        "required": ["columns", "rows"],
        "properties": {"columns": {"$ref": "#/$defs/columns"}, "rows": {"type": "array", "items": row}},
    }


def _column_schema(column: Column) -> dict[str, object]:
    kind = _TYPES.get(column.kind, "string")
    found: dict[str, object] = {"type": kind if column.needed else [kind, "null"]}
    said = [column.unit, _WORDS.get(column.kind, ""), f"id of {column.refers}" if column.refers else ""]
    if any(said):
        found["description"] = "; ".join(part for part in said if part)
    if column.choices:
        found["enum"] = [*column.choices, *([] if column.needed else [None])]
    if column.kind == "when":
        found["pattern"] = r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$"
    if column.pattern:
        found["pattern"] = f"^{column.pattern}$"
    if column.low is not None:
        found["minimum"] = int(column.low) if column.kind == "int" else column.low
    if column.high is not None:
        found["maximum"] = int(column.high) if column.kind == "int" else column.high
    return found
