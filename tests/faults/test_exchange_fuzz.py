"""Damaged files of rows: each is read or refused in our own words, none crashes and none takes for ever.

Every mutant follows from its form and its number, so a failure names what to run again.
"""

from __future__ import annotations

import io
import struct
import zipfile
from random import Random
from typing import TYPE_CHECKING

import pytest

from canebench.base.errors import CanebenchError, InputError
from canebench.store.exchange.importing import ImportChoices, check_import
from canebench.store.exchange.tables_out import read_tables, write_table
from canebench.store.ledger import Ledger, open_ledger
from support.effort import worked_s
from support.loads import times

if TYPE_CHECKING:
    from canebench.store.exchange.tables_out import Form

_NOW = "2026-01-25T12:00:00.000Z"
_CHOICES = ImportChoices(ids="renumbered", duplicates="skip")
#: What parsers like to stumble over.
_WORDS = (
    b'"', b",", b";", b"\r", b"\n", b"\0", b"\xff\xfe", b"\xfe\xff", b"\xef\xbb\xbf", b"NaN", b"1e999", b"-",
    b"=1", b"9" * 400, b"{", b"[", b"]", b"}", b"null", b"true", b"\\ud800", b"\\u0000", b'"id":', b"1.5",
    b"_xD800_", b"<f>", b"</c>", b' r="XFD9"', b' t="e"', b' t="b"', b' t="d"', b' t="s"',
    b"\xc3", b"'", b"\xe2\x88\x92",
)  # fmt: skip


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    made = open_ledger(str(tmp_path_factory.mktemp("ledger") / "ledger.db"))
    with made.act("test", who="tester", said="some rows") as writer:
        for number in range(6):
            reed = {"number": f"{number}", "state": "new", "state_since": _NOW, "remarks": "=1, 'é'\n\"x\""}
            writer.insert("reeds", reed)
    return made


def _seed(ledger: Ledger, form: Form) -> bytes:
    out = io.BytesIO()
    with ledger.reading() as reader:
        write_table(out, reader, "reeds", form=form, written_at=_NOW)
    return out.getvalue()


def _damaged(rng: Random, data: bytes) -> bytes:
    found = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        place, width = rng.randrange(len(found) + 1), rng.choice([1, 1, 2, 8, 40])
        kind = rng.randrange(5)
        if kind == 0 and place < len(found):
            found[place] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del found[place : place + width]
        elif kind == 2:
            found[place:place] = rng.choice(_WORDS)
        elif kind == 3:
            found[place:place] = found[place : place + width * 4]
        elif rng.random() < 0.2:
            del found[place:]
    return bytes(found)


def _repacked(rng: Random, data: bytes) -> bytes:
    """A whole archive with one damaged part: what a flipped bit never gets to, behind the checksums."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        names = old.namelist()
        hit = rng.choice([*names, *["xl/worksheets/sheet1.xml"] * len(names)])
        for name in names:
            part = old.read(name)
            new.writestr(name, _damaged(rng, part) if name == hit else part)
    return out.getvalue()


def _tried(ledger: Ledger, form: Form, data: bytes) -> bool:
    """Whether a file could be read; anything but an error of ours goes through."""
    try:
        with ledger.reading() as reader:
            found = check_import(reader, read_tables(data, form=form, table="reeds"), _CHOICES)
    except CanebenchError as error:
        str(error).encode()
        return False
    for problem in found["reeds"].problems:
        assert problem.sentence.encode()
    return True


@pytest.mark.parametrize(
    ("form", "count"),
    [
        ("csv", times(1_500, usual=500)),
        ("json", times(1_500, usual=500)),
        ("xlsx", times(300, usual=150)),
    ],
    ids=["csv", "json", "xlsx"],
)
def test_damaged_files_are_read_or_refused(ledger: Ledger, form: Form, count: int) -> None:
    seed, read = _seed(ledger, form), 0
    assert _tried(ledger, form, seed)
    for number in range(count):
        rng = Random(f"{form} {number}")  # noqa: S311 - not for secrets
        whole = form == "xlsx" and number % 4
        data = _repacked(rng, seed) if whole else _damaged(rng, seed)
        try:
            read += _tried(ledger, form, data)
        except Exception as error:
            raise AssertionError(f"{form} {number}: {error!r}") from error
    assert 0 < read < count


@pytest.mark.parametrize("form", ["csv", "json", "xlsx", "parquet"])
def test_noise_is_refused(ledger: Ledger, form: Form) -> None:
    for number in range(100):
        rng = Random(number)  # noqa: S311 - not for secrets
        assert form == "csv" or not _tried(ledger, form, rng.randbytes(rng.randrange(400)))
        _tried(ledger, form, rng.randbytes(rng.randrange(400)))


def _with_part(ledger: Ledger, name: str, text: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(_seed(ledger, "xlsx"))) as old:
        parts = {one: old.read(one) for one in old.namelist()}
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for one, part in {**parts, name: text}.items():
            new.writestr(one, part)
    return out.getvalue()


_BOMB = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "' + b"b" * 1000 + b'">]><a>' + b"&b;" * 1000 + b"</a>"
_OUTSIDE = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]><a>&b;</a>'


@pytest.mark.parametrize("text", [_BOMB, _OUTSIDE, _OUTSIDE.decode().encode("utf-16")])
def test_a_document_type_is_refused(ledger: Ledger, text: bytes) -> None:
    with pytest.raises(InputError, match="document type"):
        read_tables(_with_part(ledger, "xl/worksheets/sheet1.xml", text), form="xlsx")


def test_a_bomb_is_refused_before_it_is_unpacked(ledger: Ledger) -> None:
    start = worked_s()
    with pytest.raises(InputError, match="once unpacked"):
        read_tables(_with_part(ledger, "xl/sharedStrings.xml", b" " * 90_000_000), form="xlsx")
    assert worked_s() - start < 10.0


def test_an_archive_that_lies_about_its_sizes_is_refused(ledger: Ledger) -> None:
    """The sizes in the directory say little, the packed data holds much."""
    data = bytearray(_with_part(ledger, "xl/sharedStrings.xml", b" " * 5_000_000))
    place = data.rfind(b"PK\x01\x02", 0, data.rfind(b"xl/sharedStrings.xml"))
    data[place + 24 : place + 28] = struct.pack("<I", 100)
    with pytest.raises(InputError, match="no XLSX"):
        read_tables(bytes(data), form="xlsx")


def test_a_sheet_of_nothing_but_far_away_cells_ends(ledger: Ledger) -> None:
    text = (
        b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        b'<row r="1"><c r="A1" t="inlineStr"><is><t>number</t></is></c></row>'
        b'<row r="99999999999"><c r="A2"><v>1</v></c></row></sheetData></worksheet>'
    )
    start = worked_s()
    assert not _tried(ledger, "xlsx", _with_part(ledger, "xl/worksheets/sheet1.xml", text))
    assert worked_s() - start < 20.0


def test_a_formula_in_a_sheet_is_a_problem_of_its_row(ledger: Ledger) -> None:
    text = (
        b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        b'<row r="1"><c r="A1" t="inlineStr"><is><t>name</t></is></c>'
        b'<c r="B1" t="inlineStr"><is><t>count</t></is></c></row>'
        b'<row r="2"><c r="A2" t="inlineStr"><is><t>A</t></is></c><c r="B2"><f>1+1</f><v>2</v></c></row>'
        b"</sheetData></worksheet>"
    )
    data = _with_part(ledger, "xl/worksheets/sheet1.xml", text)
    with ledger.reading() as reader:
        found = check_import(reader, {"lots": read_tables(data, form="xlsx")["reeds"]}, _CHOICES)["lots"]
    assert [(one.row, one.column, one.given) for one in found.problems] == [(2, "count", "a formula")]
