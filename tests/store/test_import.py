"""Rows in from a person's file: found out, mapped, converted, checked, and written all or not at all."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

from canebench.base.errors import InputError, UnknownNameError
from canebench.store.exchange import sheet as sheet_file
from canebench.store.exchange.headers import match_headers
from canebench.store.exchange.importing import (
    ImportChoices,
    Imported,
    ImportRefusedError,
    TableFound,
    check_import,
    commit_import,
)
from canebench.store.exchange.tables_out import read_tables
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import PlayRecord, ReedRecord
from canebench.store.tables import TABLES
from canebench.store.writer import Writer
from support.effort import worked_s

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from canebench.store.tables import Row, Value

_MOMENT = datetime(2026, 1, 25, 12, tzinfo=UTC)
_NOW = "2026-01-25T12:00:00.000Z"
SKIP = ImportChoices(ids="renumbered", duplicates="skip")
REFUSE = ImportChoices(ids="renumbered", duplicates="refuse")


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    """A ledger of three reeds."""
    made = open_ledger(str(tmp_path / "ledger.db"), clock=lambda: _MOMENT)
    with made.act("test", who="tester", said="three reeds") as writer:
        for number in ("1", "2", "3"):
            writer.insert("reeds", {"number": number, "state": "new", "state_since": _NOW})
        writer.insert("chanters", {"name": "C"})
    return made


def look(ledger: Ledger, table: str, text: str | bytes, choices: ImportChoices = SKIP) -> TableFound:
    data = text.encode() if isinstance(text, str) else text
    with ledger.reading() as reader:
        return check_import(reader, read_tables(data, form="csv", table=table), choices)[table]


def bring(ledger: Ledger, table: str, text: str | bytes, choices: ImportChoices = SKIP) -> Imported:
    data = text.encode() if isinstance(text, str) else text
    sheets = read_tables(data, form="csv", table=table)
    return commit_import(ledger, sheets, choices, who="tester", said="in from a file")


def dump(ledger: Ledger) -> dict[str, list[Row]]:
    with ledger.reading() as reader:
        return reader.dump()


def rows(ledger: Ledger, table: str) -> list[Row]:
    with ledger.reading() as reader:
        return reader.raw_rows(TABLES[table])


def problems(found: TableFound) -> list[tuple[int, str, str]]:
    return [(one.row, one.column, one.given) for one in found.problems]


_LOTS = "name;count;price;remarks\r\nBox Ä;10;12,5;a,b\r\nBox B;3;−1,5;\r\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_semicolon_and_decimal_comma_in_every_encoding(ledger: Ledger, encoding: str) -> None:
    found = look(ledger, "lots", _LOTS.encode(encoding))
    assert found.decimal == ","
    assert found.first[0][1]["name"] == "Box Ä"
    assert found.first[0][1]["price"] == 12.5
    assert problems(found) == [(3, "price", "'−1,5'")], "a negative number was read, and is not allowed"


def test_utf_16_with_its_mark_the_other_way_about(ledger: Ledger) -> None:
    assert look(ledger, "lots", b"\xfe\xff" + _LOTS.encode("utf-16-be")).rows == 2


@pytest.mark.parametrize(
    ("text", "decimal", "price"),
    [
        ("name,count,price\nA,1,2.5\n", ".", 2.5),
        ("name;count;price\nA;1;2,5\n", ",", 2.5),
        ("name;count;price\nA;1;2\n", ",", 2.0),
        ("name;count;price\nA;1;2.5\n", ".", 2.5),
        ('name,count,price\n"A;B;C",1,2.5\n', ".", 2.5),
        ('name;count;price;remarks\nA;1;2,5;"one, two, three"\n', ",", 2.5),
        ("\n\nname,count,price\n\nA,1,1e3\n", ".", 1000.0),
        ('"name","count","price"\r"A","1","2.5"\r', ".", 2.5),
    ],
)
def test_separator_and_decimal_mark_are_found(ledger: Ledger, text: str, decimal: str, price: float) -> None:
    found = look(ledger, "lots", text)
    assert (found.decimal, found.problems, found.rows) == (decimal, [], 1)
    assert found.first[0][1]["price"] == price


@pytest.mark.parametrize(
    "price", ["1.234,5", "1,234.5", "12 EUR", "0x10", "NaN", "1_000", "٣", "1 000", "--1"]
)
def test_numbers_that_could_mean_two_things_are_refused(ledger: Ledger, price: str) -> None:
    for separator in ",;":
        text = f'name{separator}count{separator}price\nA{separator}1{separator}"{price}"\n'
        assert [one.column for one in look(ledger, "lots", text).problems] == ["price"]


@pytest.mark.parametrize(
    ("header", "cell", "column", "value"),
    [
        ("playing_kpa [kPa]", "6", "playing_kpa", 6.0),
        ("playing_kpa", "6", "playing_kpa", 6.0),
        ("Playing [inH2O]", "20", "playing_kpa", 4.9817782),
        ("playing_mbar", "25", "playing_kpa", 2.5),
        ("playing_kpa (mbar)", "3", "playing_kpa", 0.3),
        ("playing sd [inH2O]", "1", "playing_sd_kpa", 0.24908891),
        ("Remarks", "=1", "remarks", "=1"),
    ],
)
def test_headers_with_and_without_unit_and_with_others(
    ledger: Ledger, header: str, cell: str, column: str, value: Value
) -> None:
    found = look(ledger, "strengths", f"reed,at,{header}\n2,{_NOW},{cell}\n")
    assert found.problems == []
    assert found.first[0][1][column] == (pytest.approx(value) if isinstance(value, float) else value)
    assert found.first[0][1]["reed_id"] == 2


@pytest.mark.parametrize(
    ("table", "header", "column", "given", "value"),
    [
        ("settings", "seat_mm [inch]", "seat_mm", "0.05", 1.27),
        ("settings", 'seat ["]', "seat_mm", "-0.1", -2.54),
        ("plays", "room [°F]", "room_degc", "32", 0.0),
        ("plays", "room_degf", "room_degc", "68", 20.0),
        ("plays", "room_degc [F]", "room_degc", "-4", -20.0),
    ],
)
def test_inches_and_fahrenheit_are_converted(
    ledger: Ledger, table: str, header: str, column: str, given: str, value: float
) -> None:
    extra = {"settings": ("chanter", "C"), "plays": ("minutes", "5")}[table]
    text = f"reed;at;{extra[0]};{header}\n1;{_NOW};{extra[1]};{given.replace('.', ',')}\n"
    found = look(ledger, table, text.replace(f"{header}", '"' + header.replace('"', '""') + '"'))
    assert found.problems == []
    assert found.first[0][1][column] == pytest.approx(value, abs=1e-12)


def test_a_pressure_without_its_unit_is_not_guessed(ledger: Ledger) -> None:
    """27 inches of water taken for kilopascals would be a ceiling four times too high."""
    (only,) = look(ledger, "players", "name,blows\nMorag,27\n").problems
    assert "blows [inH2O] or blows [kPa]" in only.sentence


def test_control_a_value_taken_without_its_unit_would_be_seen(ledger: Ledger) -> None:
    """31 inH2O are allowed, 31 kPa are not: the problem names both."""
    text = f"reed,at,playing [inH2O]\n1,{_NOW},31\n1,{_NOW},200\n"
    found = look(ledger, "strengths", text)
    (only,) = found.problems
    assert (only.row, only.given) == (3, "'200' inH2O, that is 49.8178 kPa")
    assert "from 0 to 30 kPa" in only.allowed
    assert look(ledger, "strengths", text.replace("inH2O", "kPa")).problem_count == 2


@pytest.mark.parametrize(
    ("header", "nearest"),
    [("pryce", "price"), ("nam", "name"), ("bought", "bought_on"), ("remark", "remarks"), ("zzz", None)],
)
def test_an_unknown_header_suggests_the_nearest(ledger: Ledger, header: str, nearest: str | None) -> None:
    (problem,) = look(ledger, "lots", f"name,count,{header}\nA,1,\n").problems
    assert (problem.row, problem.column, problem.nearest) == (1, header, nearest)
    with pytest.raises(ImportRefusedError, match=header):
        bring(ledger, "lots", f"name,count,{header}\nA,1,\n")


def test_a_unit_that_is_none_of_the_columns_is_refused(ledger: Ledger) -> None:
    (problem,) = look(ledger, "strengths", f"reed,at,playing_kpa [psi]\n1,{_NOW},1\n").problems
    assert "playing_kpa is read in kPa, inH2O, mbar" in problem.sentence


def test_a_mapping_goes_before_the_headers(ledger: Ledger) -> None:
    mapping = {"Bezeichnung": "name", "Stück": "count", "price": None, "count": None}
    choices = ImportChoices(ids="renumbered", duplicates="refuse", mapping={"lots": mapping})
    text = "Bezeichnung;Stück;price;count\nA;3;viel;nichts\n"
    bring(ledger, "lots", text, choices)
    (row,) = rows(ledger, "lots")
    assert (row["name"], row["count"], row["price"]) == ("A", 3, None)
    with pytest.raises(UnknownNameError, match="lots"):
        look(ledger, "lots", text, ImportChoices(ids="kept", duplicates="skip", mapping={"lot": mapping}))


def test_columns_of_an_older_export_are_left_out_and_said(ledger: Ledger) -> None:
    """The control: a column that never was is refused."""
    text = f"reed,chanter,at,seat_mm [mm],seat_sd_mm [mm],hemp_turns [turns]\n1,C,{_NOW},0.5,0.1,14\n"
    found = look(ledger, "settings", text)
    assert problems(found) == []
    left_out = [one.header for one in found.matched if one.column is None]
    assert left_out == ["seat_sd_mm [mm]", "hemp_turns [turns]"]
    bring(ledger, "settings", text)
    (row,) = rows(ledger, "settings")
    assert row["seat_mm"] == 0.5
    assert look(ledger, "settings", text.replace("hemp_turns", "hemp_knots")).problem_count == 1


def test_columns_that_are_needed_or_stand_twice_are_said(ledger: Ledger) -> None:
    found = look(ledger, "lots", "name,Name\nA,B\n")
    assert problems(found) == [(1, "Name", "this header"), (1, "count", "no such column")]


def test_every_spelling_of_our_own_headers_is_its_own_column() -> None:
    for table in TABLES.values():
        for column in table.columns:
            for header in (column.name, column.header, column.header.upper(), f" {column.header} "):
                (matched,) = match_headers(table, [header], {})
                assert matched.column == column
                assert matched.conversion is None


def test_each_row_says_what_is_wrong_with_it(ledger: Ledger) -> None:
    text = (
        "reed_id,at,minutes,level_dba [dB(A)],remarks\n"
        f"1,{_NOW},10,80,fits\n"
        f"9,{_NOW},10,80,no reed\n"
        "1,yesterday,ten,500,three\n"
        f"1.5,{_NOW},,80,two\n"
        f"1,{_NOW},10,80,ok,more\n"
        f"1,{_NOW},10,,fits\n"
    )
    found = look(ledger, "plays", text)
    assert problems(found) == [
        (4, "at", "'yesterday'"),
        (4, "minutes", "'ten'"),
        (4, "level_dba [dB(A)]", "'500'"),
        (5, "reed_id", "'1.5'"),
        (5, "minutes", "nothing"),
        (6, "no header", "'more'"),
        (3, "reed_id", "9"),
    ]
    assert (found.rows, found.fitting) == (6, 2)
    assert "there is no such reed" in found.problems[-1].sentence


def test_the_first_rows_are_shown_as_they_are_then_written(ledger: Ledger) -> None:
    text = f"reed,at,playing [mbar]\n1,{_NOW},60\n2,{_NOW},62\n"
    found = look(ledger, "strengths", text)
    assert [row for row, _ in found.first] == [2, 3]
    bring(ledger, "strengths", text)
    assert rows(ledger, "strengths") == [{**row, "removed_at": None} for _, row in found.first]


def test_a_reed_is_called_by_its_number(ledger: Ledger) -> None:
    text = f"reed_number,than_reed,at,by_mouth\n3,1,{_NOW},easier\n7,1,{_NOW},same\n"
    found = look(ledger, "strengths", text)
    assert (found.first[0][1]["reed_id"], found.first[0][1]["than_reed_id"]) == (3, 1)
    (problem,) = found.problems
    assert "no reed of that number is known" in problem.sentence


def test_duplicates_are_listed_and_skipped_or_refused(ledger: Ledger) -> None:
    text = f"number,state,state_since\n2,spare,{_NOW}\n8,new,{_NOW}\n8,new,{_NOW}\n9,new,{_NOW}\n"
    found = look(ledger, "reeds", text)
    said = [(one.row, one.where, one.of, one.differs) for one in found.duplicates]
    assert said == [(2, "there already", 2, ("state",)), (4, "twice in the file", 3, ())]
    before = dump(ledger)
    with pytest.raises(ImportRefusedError, match="2 duplicates"):
        bring(ledger, "reeds", text, REFUSE)
    assert dump(ledger) == before
    assert bring(ledger, "reeds", text).written == 2
    assert [row["number"] for row in rows(ledger, "reeds")] == ["1", "2", "3", "8", "9"]
    assert rows(ledger, "reeds")[1]["state"] == "new", "the row that was there is as it was"


def test_rows_without_a_name_are_doubles_when_all_is_equal(ledger: Ledger) -> None:
    text = f"reed,at,minutes\n1,{_NOW},10\n1,{_NOW},10\n1,{_NOW},11\n"
    assert bring(ledger, "plays", text).written == 2
    found = look(ledger, "plays", text)
    assert [one.where for one in found.duplicates] == ["there already", "twice in the file", "there already"]


def test_a_name_in_the_bin_is_free(ledger: Ledger) -> None:
    with ledger.act("test", who="tester", said="away") as writer:
        writer.remove(writer.row(ReedRecord, 2))
    assert look(ledger, "reeds", f"number,state,state_since\n2,new,{_NOW}\n").fitting == 1
    (problem,) = look(ledger, "plays", f"reed,at,minutes\n2,{_NOW},1\n").problems
    assert "in the bin" in problem.sentence


def test_an_import_that_was_undone_comes_in_again(ledger: Ledger) -> None:
    text = f"number,state,state_since\n7,new,{_NOW}\n8,new,{_NOW}\n"
    done = bring(ledger, "reeds", text)
    before = [row["number"] for row in rows(ledger, "reeds")]
    assert done.act_id is not None
    ledger.undo(done.act_id, who="tester")
    assert bring(ledger, "reeds", text).written == 2
    assert [row["number"] for row in rows(ledger, "reeds")] == before


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("2026-03-02T20:00:00+01:00", "2026-03-02T19:00:00.000Z"),
        ("2026-03-02T19:00:00Z", "2026-03-02T19:00:00.000Z"),
        ("2026-03-02 19:00", "2026-03-02T19:00:00.000Z"),
        ("2026-03-02", "2026-03-02T00:00:00.000Z"),
        ("2026-03-02T23:30:00-05:00", "2026-03-03T04:30:00.000Z"),
    ],
)
def test_times_are_kept_in_utc(ledger: Ledger, given: str, kept: str) -> None:
    bring(ledger, "plays", f"reed,at,minutes\n1,{given},1\n")
    assert rows(ledger, "plays")[-1]["at"] == kept


def test_times_without_a_zone_are_counted(ledger: Ledger) -> None:
    times = ["2026-03-02", "2026-03-02 19:00", "2026-03-02T19:00Z", "2026-03-02T19:00+01:00", "soon"]
    text = "reed,at,minutes\n" + "".join(f"1,{at},1\n" for at in times)
    assert look(ledger, "plays", text).zoneless == 2
    openpyxl = pytest.importorskip("openpyxl")
    book, out = openpyxl.Workbook(), io.BytesIO()
    for cells in (["reed", "at", "minutes"], ["1", datetime(2026, 3, 2, 19), 1], ["1", times[2], 1]):
        book.active.append(cells)
    book.save(out)
    sheets = read_tables(out.getvalue(), form="xlsx", table="plays")
    with ledger.reading() as reader:
        assert check_import(reader, sheets, SKIP)["plays"].zoneless == 1


def test_ids_are_kept_only_where_they_were_never_used(ledger: Ledger) -> None:
    kept = ImportChoices(ids="kept", duplicates="skip")
    head = "id,version,number,state,state_since\n"
    assert bring(ledger, "reeds", f"{head}1,1,1,new,{_NOW}\n", kept).written == 0
    for text in (f"1,1,77,new,{_NOW}\n", f"8,1,1,new,{_NOW}\n", f"8,1,8,new,{_NOW}\n8,1,9,new,{_NOW}\n"):
        with pytest.raises(ImportRefusedError, match="1 problem"):
            bring(ledger, "reeds", head + text, kept)
    bring(ledger, "reeds", f"{head}8,4,8,new,{_NOW}\n", kept)
    with ledger.act("test", who="tester", said="one more") as writer:
        assert writer.row(ReedRecord, 8).version == 4
        assert writer.insert("reeds", {"number": "x", "state": "new", "state_since": _NOW}) == 9
    (problem,) = look(ledger, "reeds", f"number,state,state_since\na,new,{_NOW}\n", kept).problems
    assert "it is needed" in problem.sentence


_MANY = "reed,at,minutes\n" + "".join(f"1,{_NOW},{n / 10}\n" for n in range(2500))


def test_one_bad_row_of_many_leaves_the_ledger_as_it_was(ledger: Ledger) -> None:
    """The control of all the others: sabotage at the start, in the middle and at the very end."""
    before = dump(ledger)
    lines = _MANY.splitlines()
    for place in (1, 1300, 2500):
        bad = [*lines[:place], f"1,{_NOW},-1", *lines[place:]]
        with pytest.raises(ImportRefusedError, match="1 problem") as caught:
            bring(ledger, "plays", "\n".join(bad))
        assert [one.row for one in caught.value.found["plays"].problems] == [place + 1]
        assert dump(ledger) == before
    assert bring(ledger, "plays", _MANY).written == 2500


def test_a_sabotaged_write_leaves_the_ledger_as_it_was(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A row that passes the check and fails at the writing."""
    before, plain, calls = dump(ledger), Writer.insert_many, []

    def sabotaged(
        self: Writer, table: str, rows: Sequence[Mapping[str, Value]], *, keep: bool = False
    ) -> list[int]:
        calls.append(table)
        bad = [*rows[:-1], {**rows[-1], "minutes": -1.0}] if len(calls) == 3 else rows
        return plain(self, table, bad, keep=keep)

    monkeypatch.setattr(Writer, "insert_many", sabotaged)
    with pytest.raises(InputError, match="minutes"):
        bring(ledger, "plays", _MANY)
    assert len(calls) == 3
    assert dump(ledger) == before


def test_cancelling_leaves_the_ledger_as_it_was(ledger: Ledger) -> None:
    class StopError(Exception):
        pass

    seen: list[tuple[int, int | None]] = []

    def progress(done: int, total: int | None) -> None:
        seen.append((done, total))
        if done >= 2000:
            raise StopError("enough")

    before = dump(ledger)
    sheets = read_tables(_MANY.encode(), form="csv", table="plays")
    with pytest.raises(StopError, match="enough"):
        commit_import(ledger, sheets, SKIP, who="tester", said="in", progress=progress)
    assert dump(ledger) == before
    assert seen == [(1000, None), (2000, None)]


def test_an_import_is_one_act_and_undone_as_one(ledger: Ledger) -> None:
    before = {name: rows(ledger, name) for name in TABLES}
    done = bring(ledger, "plays", _MANY)
    assert done.act_id is not None
    with ledger.reading() as reader:
        record = reader.act(done.act_id)
        assert (record.kind, record.who, len(record.changes)) == ("import", "tester", 2500)
        plays = [play.values() for play in reader.rows(PlayRecord)]
        assert [after for _, _, _, after in record.changes] == plays
    ledger.undo(done.act_id, who="tester")
    assert {name: rows(ledger, name) for name in TABLES} == before
    assert len(dump(ledger)["plays"]) == 2500, "they lie in the bin"


def test_insert_many_is_as_insert_one_by_one(tmp_path: Path) -> None:
    """Ids, rows, history and counters: equal dumps."""
    made = []
    for place, many in enumerate((True, False)):
        ledger = open_ledger(str(tmp_path / f"{place}.db"), clock=lambda: _MOMENT)
        new: list[Row] = [{"number": f"{n}", "state": "new", "state_since": _NOW} for n in range(700)]
        with ledger.act("test", who="tester", said="reeds") as writer:
            writer.insert("lots", {"name": "A", "count": 1})
            ids = writer.insert_many("reeds", new) if many else [writer.insert("reeds", row) for row in new]
            writer.insert("lots", {"name": "B", "count": 1})
        assert ids == list(range(1, 701))
        with ledger.act("test", who="tester", said="more") as writer:
            assert writer.insert("reeds", {**new[0], "number": "x"}) == 701
            assert writer.insert_many("reeds", []) == []
        with ledger.reading() as reader:
            made.append((reader.dump(), reader.connection.rows("SELECT * FROM counters ORDER BY name")))
    assert made[0] == made[1]


@pytest.mark.parametrize(
    ("table", "bad", "match"),
    [
        ("reeds", {"number": "1"}, "there already"),
        ("reeds", {"number": "new0"}, "there already"),
        ("reeds", {"number": None}, "it is needed"),
        ("reeds", {"lot_id": 77}, "no such lot"),
        ("reeds", {"lot_id": 10**30}, "no such lot"),
        ("reeds", {"state": "lost"}, "one of"),
        ("reeds", {"colour": "red"}, "column of reeds"),
    ],
)
def test_insert_many_refuses_what_insert_refuses(
    ledger: Ledger, table: str, bad: dict[str, Value], match: str
) -> None:
    before = dump(ledger)
    good: list[Row] = [{"number": f"new{n}", "state": "new", "state_since": _NOW} for n in range(3)]
    wrong = {"number": "last", "state": "new", "state_since": _NOW, **bad}
    with (
        pytest.raises(InputError, match=match),
        ledger.act("test", who="tester", said="x") as writer,
    ):
        writer.insert_many(table, [*good, wrong])
    assert dump(ledger) == before


@pytest.mark.parametrize("row_id", [0, -1, 2, 2**60, "7", None, True, 1.0])
def test_insert_many_keeps_only_new_whole_ids(ledger: Ledger, row_id: Value) -> None:
    row: Row = {"id": row_id, "number": "k", "state": "new", "state_since": _NOW}
    with (
        pytest.raises(InputError, match="id of a reed"),
        ledger.act("test", who="tester", said="x") as writer,
    ):
        writer.insert_many("reeds", [row], keep=True)


def test_columns_by_the_ten_thousand_cost_no_more_than_they_are_long(ledger: Ledger) -> None:
    """Refused without looking each of them up; control: a third of them, looked up, take longer.

    The clock ticks each 10 ms: the control takes some thirty ticks, so that a tick decides nothing.
    """
    headers = [f"column {n}" for n in range(20_000)]

    start = worked_s()
    with pytest.raises(InputError, match="20000 columns was given; at most 200"):
        look(ledger, "lots", ",".join(headers) + "\n")
    refused = worked_s()
    match_headers(TABLES["lots"], headers[:7_000], {})
    assert worked_s() - refused > refused - start


def test_files_that_are_too_much_are_refused(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    wide = ",".join(f"c{n}" for n in range(201))
    with pytest.raises(InputError, match="201 columns was given; at most 200"):
        look(ledger, "lots", f"{wide}\n")
    with pytest.raises(InputError, match=r"row 2 .* 201 columns"):
        look(ledger, "lots", f"name,count\n{'1,' * 200}1\n")
    with pytest.raises(InputError, match="row 2"):
        look(ledger, "lots", f"name,count\n{'x' * 1_000_001},1\n")
    with pytest.raises(InputError, match="1 MB are read"):
        look(ledger, "lots", f"name,count\n{'é' * 600_000},1\n")
    monkeypatch.setattr(sheet_file, "MOST_ROWS", 2)
    with pytest.raises(InputError, match="more than 2 rows"):
        look(ledger, "lots", "name,count\nA,1\nB,1\nC,1\n")
    monkeypatch.setattr(sheet_file, "MOST_BYTES", 10)
    with pytest.raises(InputError, match="MB are read"):
        look(ledger, "lots", "name,count\nA,1\n")


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"", "no header"),
        (b"\n\n", "no header"),
        (b"name,count\n\xff\xfe,1\n", "UTF-8"),
        (b'name,count\n"A" x,1\n', "row 2"),
        (b'name,count\n"A,1\n', "row 2"),
    ],
)
def test_what_is_no_csv_is_refused(ledger: Ledger, data: bytes, match: str) -> None:
    with pytest.raises(InputError, match=match):
        look(ledger, "lots", data)


def test_json_of_another_kind_is_refused() -> None:
    for whole, match in (
        ({"schema": "canebench.ledger/2", "tables": {}}, "canebench.ledger/1"),
        ({"schema": "canebench.ledger/1"}, "tables"),
        ({"schema": "canebench.ledger/1", "tables": {"reads": {"rows": []}}}, "reeds"),
        ({"schema": "canebench.ledger/1", "tables": {"reeds": {"rows": [1]}}}, "list of objects"),
        ([], "no object"),
    ):
        with pytest.raises(InputError, match=match):
            read_tables(json.dumps(whole).encode(), form="json")
    for text in ('{"a": NaN}', '{"a": 1, "a": 2}', "[" * 100_000, "{"):
        with pytest.raises(InputError, match=r"JSON|nested|twice"):
            read_tables(text.encode(), form="json")


def test_json_keeps_text_and_numbers_apart(ledger: Ledger) -> None:
    row = {"number": 7, "state": "new", "state_since": _NOW, "remarks": "NaN"}
    whole = {"schema": "canebench.ledger/1", "tables": {"reeds": {"rows": [row]}}}
    with ledger.reading() as reader:
        found = check_import(reader, read_tables(json.dumps(whole).encode(), form="json"), SKIP)
    assert problems(found["reeds"]) == [(1, "number", "7")]


def test_ten_thousand_takes_come_in_quickly(ledger: Ledger) -> None:
    """100,000 are allowed 20 s; a tenth is measured here, by the work it is."""
    head = "reed,at,origin,source,scale,reference,reference_hz,duration_s\n"
    lines = [f"{1 + n % 3},{_NOW},take {n},recording,just,drones,470.{n},{n / 7}\n" for n in range(10_000)]
    start = worked_s()
    done = bring(ledger, "takes", head + "".join(lines), REFUSE)
    assert done.written == 10_000
    assert worked_s() - start < 6.0
