"""What goes out comes in again exactly: every table, every form, whatever stands in the cells."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
import zipfile
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from canebench.base.errors import InputError, NotFoundError, UnknownNameError
from canebench.store.exchange.files import csv_file
from canebench.store.exchange.files.json_file import schema, write_json
from canebench.store.exchange.importing import ImportChoices, check_import, commit_import
from canebench.store.exchange.protect import protected, unprotected
from canebench.store.exchange.sheet import written_columns
from canebench.store.exchange.tables_out import (
    FORMS,
    Form,
    export_ledger,
    export_table,
    read_folder,
    read_tables,
    write_table,
)
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import RECORDS, ChanterRecord, LotRecord, PitchRecord, ReedRecord, StrengthRecord
from canebench.store.tables import TABLES, Column, Row, Table, Value

if TYPE_CHECKING:
    from collections.abc import Iterator

    from canebench.store.exchange.sheet import Sheet
    from canebench.store.reader import Reader

_DOCS = Path(__file__).resolve().parents[2] / "docs"
_MOMENT = datetime(2026, 1, 25, 12, tzinfo=UTC)
_NOW = "2026-01-25T12:00:00.000Z"
KEPT = ImportChoices(ids="kept", duplicates="refuse")
RENUMBERED = ImportChoices(ids="renumbered", duplicates="skip")

#: Text that files and programs are known to change.
NASTY = (
    "", "'", "''", "'=1+1", "=1+1", "+1", "-1", "@now", "\t=1", "\r=1", "\n=1", "＝1", "=", "-", " =1", "NaN",
    "nan", "null", "None", "007", "1e5", "1.0", "-0.0", "TRUE", "a,b;c", 'a"b', '"', "a\nb", "a\r\nb", "a\rb",
    " edge ", "tab\there", "_x000D_", "_x005F_x000D_", "#N/A", "#REF!", "é ∑ 🎶 \U0001f468\u200d\U0001f469",
    "שלום", "\u202eabc", "\ufeffmark", "\x01\x0b\x1f", "\ufffe", "\u2028", "\x85", "1/2", "2026-11-25",
    "<b>&amp;", "x" * 40_000, "🎶" * 20_000, "\r" * 5_000,
)  # fmt: skip


def fresh(folder: Path, name: str = "ledger.db") -> Ledger:
    return open_ledger(str(folder / name), clock=lambda: _MOMENT)


@contextmanager
def never_written(ledger: Ledger) -> Iterator[Any]:
    """An act whose writing is undone at the end: quicker than a ledger for each example."""
    with suppress(_EnoughError), ledger.act("test", who="tester", said="a test") as writer:
        yield writer
        raise _EnoughError


class _EnoughError(Exception):
    pass


def _value(column: Column) -> st.SearchStrategy[Value]:
    found: st.SearchStrategy[Value]
    if column.choices:
        found = st.sampled_from(column.choices)
    elif column.pattern:
        found = st.from_regex(column.pattern, fullmatch=True)
    elif column.kind == "real":
        # SQLite itself keeps no sign of 0.
        found = st.floats(column.low, column.high, allow_nan=False).map(lambda value: value + 0.0)
    elif column.kind == "int":
        found = st.integers(int(column.low or 1), int(column.high or 3))
    elif column.kind == "when":
        found = st.datetimes(datetime(1900, 1, 1)).map(lambda at: at.isoformat(timespec="milliseconds") + "Z")
    elif column.kind == "day":
        found = st.dates().map(lambda day: day.isoformat())
    else:
        plain = st.characters(exclude_categories=["Cs"], exclude_characters="\x00")
        found = st.sampled_from([text for text in NASTY if len(text) < 100]) | st.text(plain, max_size=8)
    return found if column.needed else st.none() | found


def _rows(table: Table, ids: dict[str, list[int]]) -> st.SearchStrategy[list[Row]]:
    """Rows that refer only to rows there are."""
    values = {
        column.name: (
            st.sampled_from(ids[column.refers])
            if column.needed
            else st.none() | st.sampled_from(ids[column.refers])
        )
        if column.refers
        else _value(column)
        for column in table.columns
    }
    unique = [column.name for column in table.columns if column.unique]
    return st.lists(
        st.fixed_dictionaries(values),
        min_size=1,
        max_size=2,
        unique_by=tuple((lambda row, name=name: row[name]) for name in unique) or None,  # type: ignore[misc]
    )


@st.composite
def ledgers(draw: st.DrawFn) -> dict[str, list[Row]]:
    """Rows for every table, with ids and versions that have gaps."""
    ids: dict[str, list[int]] = {}
    found = {}
    for name, table in TABLES.items():
        rows = draw(_rows(table, ids))
        numbers = draw(st.lists(st.integers(1, 9), min_size=len(rows), max_size=len(rows)))
        ids[name] = [sum(numbers[: place + 1]) for place in range(len(rows))]
        found[name] = [
            {"id": row_id, "version": 1 + row_id % 3, **row}
            for row_id, row in zip(ids[name], rows, strict=True)
        ]
    return found


def put(writer: Any, tables: dict[str, list[Row]]) -> None:
    for name, rows in tables.items():
        writer.insert_many(name, rows, keep=True)


def bytes_of(reader: Reader, table: str, form: Form) -> bytes:
    out = io.BytesIO()
    write_table(out, reader, table, form=form, written_at=_NOW)
    return out.getvalue()


def _come_back(writer: Any, form: Form) -> dict[str, list[Row]]:
    """Every row of every table as an import that keeps ids would write it into an empty ledger."""
    sheets: dict[str, Sheet] = {}
    for name in TABLES:
        sheets |= read_tables(bytes_of(writer, name, form), form=form, table=name)
    with never_written(_EMPTY) as other:
        found = check_import(other, sheets, KEPT)
        assert [one.problems for one in found.values()] == [[]] * len(TABLES)
        return {name: [row for _, row in found[name].first] for name in TABLES}


def _told(row: Row) -> str:
    return repr(sorted(row.items()))


@pytest.fixture(scope="module", autouse=True)
def _ledgers(tmp_path_factory: pytest.TempPathFactory) -> None:
    global _FULL, _EMPTY
    folder = tmp_path_factory.mktemp("ledgers")
    _FULL, _EMPTY = fresh(folder, "full.db"), fresh(folder, "empty.db")


_FULL: Ledger
_EMPTY: Ledger


@pytest.mark.parametrize("form", FORMS)
@given(tables=ledgers())
@settings(max_examples=15, deadline=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
def test_every_table_comes_back_exactly(form: Form, tables: dict[str, list[Row]]) -> None:
    """Compared by what tells values apart: 1 and 1.0, nothing and no text."""
    with never_written(_FULL) as writer:
        put(writer, tables)
        back = _come_back(writer, form)
        for name, rows in tables.items():
            assert [_told(row) for row in back[name]] == [_told(row) for row in rows]


@pytest.mark.parametrize("form", FORMS)
def test_nasty_texts_come_back_exactly(form: Form, tmp_path: Path) -> None:
    ledger, other = fresh(tmp_path), fresh(tmp_path, "other.db")
    with ledger.act("test", who="tester", said="nasty texts") as writer:
        for text in NASTY:
            writer.insert("lots", {"name": f"{text}!", "count": 1, "cane": text, "remarks": text or None})
    with ledger.reading() as reader:
        data, before = bytes_of(reader, "lots", form), reader.dump()["lots"]
    commit_import(other, read_tables(data, form=form, table="lots"), KEPT, who="tester", said="in")
    with other.reading() as reader:
        assert reader.dump()["lots"] == before


@pytest.mark.parametrize("form", FORMS)
def test_seventeen_digits_and_negative_numbers_come_back(form: Form, tmp_path: Path) -> None:
    ledger, other = fresh(tmp_path), fresh(tmp_path, "other.db")
    given_values = [0.1 + 0.2, -0.30000000000000004, 1 / 3, -1e-300, 5e-324, -9.999999999999998, 1e9 - 1e-7]
    with ledger.act("test", who="tester", said="numbers") as writer:
        reed = writer.insert("reeds", {"number": "007", "state": "new", "state_since": _NOW})
        take: Row = {"reed_id": reed, "at": _NOW, "origin": "x", "source": "typed", "scale": "just"}
        take_id = writer.insert("takes", {**take, "reference": "fixed"})
        for value in given_values:
            writer.insert(
                "pitches", {"take_id": take_id, "note": "B", "hz": 440 + abs(value) % 1, "typed_value": value}
            )
    with ledger.reading() as reader:
        sheets: dict[str, Sheet] = {}
        for name in ("reeds", "takes", "pitches"):
            sheets |= read_tables(bytes_of(reader, name, form), form=form, table=name)
    commit_import(other, sheets, KEPT, who="tester", said="in")
    with ledger.reading() as one, other.reading() as two:
        assert [row.typed_value for row in two.rows(PitchRecord)] == given_values
        assert one.dump()["pitches"] == two.dump()["pitches"]
        assert two.rows(ReedRecord)[0].number == "007"


def test_control_a_csv_that_writes_six_digits_is_caught(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = csv_file._cell
    monkeypatch.setattr(csv_file, "_cell", lambda v: f"{v:.6g}" if isinstance(v, float) else plain(v))
    with pytest.raises(AssertionError, match="assert"):
        test_seventeen_digits_and_negative_numbers_come_back("csv", tmp_path)


def test_control_a_csv_without_protection_is_caught(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(csv_file, "protected", lambda text: text)
    with pytest.raises(InputError, match="it is unique, and row 5 has it"):
        test_nasty_texts_come_back_exactly("csv", tmp_path)


@given(st.text("'=+-@\t\r\n＝ a1"))
def test_protection_reads_back_exactly_and_starts_no_formula(text: str) -> None:
    cell = protected(text)
    assert unprotected(cell) == text
    assert cell
    assert cell[0] not in "=+-@\t\r\n＝"


def _small(ledger: Ledger) -> None:
    with ledger.act("test", who="tester", said="a few rows") as writer:
        writer.insert("lots", {"name": "=1+1", "count": 3, "price": 12.5, "cane": "", "remarks": "-x"})
        writer.insert("players", {"name": "Ä", "blows_kpa": 6.0})


def test_csv_is_rfc_4180_with_units_in_its_headers(tmp_path: Path) -> None:
    ledger = fresh(tmp_path)
    _small(ledger)
    with ledger.reading() as reader:
        lots, players = bytes_of(reader, "lots", "csv"), bytes_of(reader, "players", "csv")
    assert lots.decode() == (
        "id,version,name,bought_on,count,price,currency,cane,cut,remarks\r\n1,1,'=1+1,,3,12.5,,',,'-x\r\n"
    )
    assert players.decode().splitlines()[0] == "id,version,name,blows_kpa [kPa],ceiling_kpa [kPa],remarks"


def test_no_cell_of_a_spreadsheet_is_a_formula(tmp_path: Path) -> None:
    """By the file itself, not by the library that wrote it."""
    ledger = fresh(tmp_path)
    with ledger.act("test", who="tester", said="nasty texts") as writer:
        for text in NASTY:
            writer.insert("lots", {"name": f"{text}!", "count": 1, "cane": text})
    with ledger.reading() as reader:
        data = bytes_of(reader, "lots", "xlsx")
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml").decode()
    assert "=1+1!" in sheet
    assert "<f>" not in sheet
    assert "<f " not in sheet
    assert 't="e"' not in sheet


def test_a_sheet_says_its_size(tmp_path: Path) -> None:
    """One that does not is read through once more for that alone, which takes seconds of a large one."""
    openpyxl = pytest.importorskip("openpyxl")
    ledger = fresh(tmp_path)
    _small(ledger)
    with ledger.reading() as reader:
        count = len(reader.rows(LotRecord))
        book = openpyxl.load_workbook(io.BytesIO(bytes_of(reader, "lots", "xlsx")), read_only=True)
    sheet = book["lots"]
    assert (sheet.max_row, sheet.max_column) == (1 + count, len(written_columns(TABLES["lots"].columns)))


def test_a_number_is_a_number_in_a_spreadsheet(tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl")
    ledger = fresh(tmp_path)
    _small(ledger)
    with ledger.reading() as reader:
        book = openpyxl.load_workbook(io.BytesIO(bytes_of(reader, "lots", "xlsx")))
    cells = {cell.column_letter: cell for cell in book["lots"][2]}
    assert (cells["F"].value, cells["F"].data_type) == (12.5, "n")
    assert (cells["C"].value, cells["C"].data_type) == ("=1+1", "s")
    assert cells["C"].quotePrefix


@pytest.mark.parametrize("form", FORMS)
def test_the_whole_ledger_goes_out_and_comes_in(form: Form, tmp_path: Path) -> None:
    ledger, other = fresh(tmp_path), fresh(tmp_path, "other.db")
    with ledger.act("test", who="tester", said="rows") as writer:
        put(writer, _linked())
    path = tmp_path / "out"
    with ledger.reading() as reader:
        export_ledger(reader, path, form=form, written_at=_NOW)
    sheets = read_folder(path) if path.is_dir() else read_tables(path, form=form)
    commit_import(other, sheets, KEPT, who="tester", said="in")
    with ledger.reading() as one, other.reading() as two:
        for record in RECORDS.values():
            assert one.rows(record) == two.rows(record)
    assert not [one for one in tmp_path.iterdir() if one.name.startswith(".out")]


def _linked() -> dict[str, list[Row]]:
    reed: Row = {"state": "new", "state_since": _NOW}
    return {
        "lots": [{"id": 4, "name": "first", "count": 2}],
        "players": [{"id": 2, "version": 3, "name": "P"}],
        "chanters": [{"id": 7, "name": "C", "player_id": 2}],
        "reeds": [
            {"id": 3, "number": "1", "lot_id": 4, "chanter_id": 7, **reed},
            {"id": 9, "number": "2", "lot_id": 4, **reed},
        ],
        "strengths": [{"id": 5, "reed_id": 9, "than_reed_id": 3, "at": _NOW, "by_mouth": "easier"}],
    }


def test_renumbered_rows_take_their_references_along(tmp_path: Path) -> None:
    """Into a ledger that has rows: new ids, the lot that is there is used, a second import adds none."""
    ledger, other = fresh(tmp_path), fresh(tmp_path, "other.db")
    with ledger.act("test", who="tester", said="rows") as writer:
        put(writer, _linked())
    with other.act("test", who="tester", said="other rows") as writer:
        writer.insert("lots", {"name": "other", "count": 1})
        there = writer.insert("lots", {"name": "first", "count": 5})
        writer.insert("reeds", {"number": "99", "state": "new", "state_since": _NOW})
    path = tmp_path / "out.json"
    with ledger.reading() as reader:
        export_ledger(reader, path, form="json", written_at=_NOW)
    sheets = read_tables(path, form="json")
    with other.reading() as reader:
        looked = check_import(reader, sheets, RENUMBERED)
    found = commit_import(other, sheets, RENUMBERED, who="tester", said="in")
    (twin,) = found.found["lots"].duplicates
    assert (twin.where, twin.of, twin.differs) == ("there already", there, ("count",))
    with other.reading() as reader:
        reeds = {row.number: row for row in reader.rows(ReedRecord)}
        (strength,) = reader.rows(StrengthRecord)
        assert reeds["1"].lot_id == there
        assert reader.row(ChanterRecord, reeds["1"].chanter_id or 0).name == "C"
        assert strength.reed_id == reeds["2"].id
        assert strength.than_reed_id == reeds["1"].id
        for name, one in looked.items():
            written = {row["id"]: {**row, "removed_at": None} for _, row in one.first}
            standing = {row["id"]: row for row in reader.raw_rows(TABLES[name])}
            assert written == {row_id: standing[row_id] for row_id in written}
    again = commit_import(other, sheets, RENUMBERED, who="tester", said="again")
    assert (again.act_id, again.written) == (None, 0)


def test_json_is_what_its_schema_says() -> None:
    said = json.loads((_DOCS / "ledger.schema.json").read_text(encoding="utf-8"))
    assert said.pop("$schema")
    assert said == schema()
    out = io.BytesIO()
    write_json(out, {"lots": []}, written_at=_NOW)
    whole = json.loads(out.getvalue())
    assert set(whole) == set(said["required"])
    assert whole["schema"] == said["$id"]
    names = [one["name"] for one in whole["tables"]["lots"]["columns"]]
    assert (
        names == said["properties"]["tables"]["properties"]["lots"]["properties"]["rows"]["items"]["required"]
    )


def test_the_reader_in_the_documents_needs_nothing_of_ours(tmp_path: Path) -> None:
    """Python without site packages, paths or environment; and it is short."""
    ledger = fresh(tmp_path)
    _small(ledger)
    path, script = tmp_path / "ledger.json", _DOCS / "read_ledger.py"
    with ledger.reading() as reader:
        export_ledger(reader, path, form="json", written_at=_NOW)
    assert len(script.read_text(encoding="utf-8").splitlines()) <= 30
    bare = [sys.executable, "-S", "-I", "-B"]
    ours = subprocess.run([*bare, "-c", "import canebench"], capture_output=True, check=False)
    assert ours.returncode != 0, "the control: ours cannot be imported there"
    done = subprocess.run([*bare, str(script), str(path), "lots"], capture_output=True, check=True)
    row = json.loads(done.stdout.decode().splitlines()[1])
    assert (row["name"], row["price"], row["cane"], row["cut"]) == ("=1+1", 12.5, "", None)


def test_rows_go_out_as_given(tmp_path: Path) -> None:
    """What a page shows, in its order."""
    ledger = fresh(tmp_path)
    with ledger.act("test", who="tester", said="rows") as writer:
        put(writer, _linked())
    with ledger.reading() as reader:
        rows = [reed.values() for reed in reader.rows(ReedRecord, order="-id")]
        export_table(reader, "reeds", tmp_path / "r.csv", written_at=_NOW, rows=rows)
    with (tmp_path / "r.csv").open(encoding="utf-8", newline="") as file:
        assert [row["id"] for row in csv.DictReader(file)] == ["9", "3"]


def test_the_bin_stays_in(tmp_path: Path) -> None:
    ledger = fresh(tmp_path)
    _small(ledger)
    with ledger.act("test", who="tester", said="away") as writer:
        writer.remove(writer.row(LotRecord, 1))
    with ledger.reading() as reader:
        assert len(bytes_of(reader, "lots", "csv").splitlines()) == 1


def test_a_failed_export_leaves_the_old_file(tmp_path: Path) -> None:
    ledger, path = fresh(tmp_path), tmp_path / "lots.csv"
    path.write_text("old", encoding="utf-8")
    with ledger.reading() as reader, pytest.raises(KeyError, match="version"):
        export_table(reader, "lots", path, written_at=_NOW, rows=[{"id": 1}])
    assert path.read_text(encoding="utf-8") == "old"
    assert sorted(one.name for one in tmp_path.iterdir() if "lots" in one.name) == ["lots.csv"]


@pytest.mark.parametrize(("form", "module"), [("parquet", "pyarrow"), ("xlsx", "openpyxl")])
def test_a_missing_extra_is_named(
    form: Form, module: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, module, None)
    with fresh(tmp_path).reading() as reader, pytest.raises(InputError, match=r"canebench\[tables\]"):
        bytes_of(reader, "lots", form)
    with pytest.raises(InputError, match=r"canebench\[tables\]"):
        read_tables(b"x", form=form, table="lots")


def test_forms_and_files_that_are_not_there_are_said(tmp_path: Path) -> None:
    with fresh(tmp_path).reading() as reader:
        with pytest.raises(UnknownNameError, match="csv, json, parquet, xlsx"):
            export_table(reader, "lots", tmp_path / "lots.doc", written_at=_NOW)
        with pytest.raises(InputError, match="cannot be written"):
            export_table(reader, "lots", tmp_path / "none" / "lots.csv", written_at=_NOW)
        with pytest.raises(InputError, match="does not exist yet"):
            export_ledger(reader, tmp_path, form="csv", written_at=_NOW)
    with pytest.raises(NotFoundError, match="no file"):
        read_tables(tmp_path / "none.csv", form="csv", table="lots")
    with pytest.raises(InputError, match=r"reeds\.csv"):
        read_folder(tmp_path)
