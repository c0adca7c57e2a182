"""Which column a header means, and in which unit its numbers are.

A header is a column's name, with its unit or without (`seat_mm [mm]`, `seat_mm`, `Seat [inch]`); a unit that
we know how to convert is converted. A column that refers to a named thing may name it: `reed` holds reeds'
numbers where `reed_id` holds ids. Guarded by `tests/store/test_import.py`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Final

from canebench.store.exchange.sheet import written_columns
from canebench.store.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.store.tables import Column, Table

#: How else units are written, in small letters.
_SPELLINGS: Final = {
    "inh2o": "inH2O", "in h2o": "inH2O", "inh₂o": "inH2O", "inwc": "inH2O",
    "mbar": "mbar", "hpa": "mbar", "kpa": "kPa",
    "inch": "inch", "inches": "inch", "in": "inch", '"': "inch", "mm": "mm",
    "°f": "°F", "f": "°F", "degf": "°F", "°c": "°C", "c": "°C", "degc": "°C",
    "hz": "Hz", "s": "s", "min": "min", "h": "h",
    "%": "%", "cents": "cents", "db(a)": "dB(A)", "dba": "dB(A)",
}  # fmt: skip
#: (ours, given): ours = (given + first) · second / third. The inch of water is the conventional one,
#: 249.0889 Pa (NIST SP 811 B.8; 9.80665 · 25.4), the inch and the degree are exact there.
_CONVERSIONS: Final = {
    ("kPa", "inH2O"): (0.0, 249.08891, 1000.0),
    ("kPa", "mbar"): (0.0, 1.0, 10.0),
    ("mm", "inch"): (0.0, 254.0, 10.0),
    ("°C", "°F"): (-32.0, 5.0, 9.0),
}
#: Columns of earlier versions: their exports still come in, without these.
_GONE: Final = {
    "chanters": ("fitting_json",),
    "settings": ("seat_sd_mm", "hemp_turns"),
    "tapes": ("covered_sd_mm",),
}
_BLOWN: Final = "kPa"
_SUFFIXES: Final = ("kpa", "inh2o", "mbar", "mm", "inch", "degc", "degf", "hz", "s", "min", "dba", "cents")
_WITH_UNIT: Final = re.compile(r"(.*?)\s*[\[(](.*)[\])]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Conversion:
    """From the unit of a file to ours."""

    unit: str
    offset: float
    times: float
    over: float

    def __call__(self, value: float) -> float:
        """The value in our unit."""
        return (value + self.offset) * self.times / self.over


@dataclass(frozen=True, slots=True, kw_only=True)
class Matched:
    """What became of one header.

    `column` is None where it is left out (`allowed` is None then) or fits no column (`allowed` says why, and
    `nearest` what was perhaps meant). `by_name` is the column of the table referred to that its cells hold.
    """

    index: int
    header: str
    column: Column | None = None
    conversion: Conversion | None = None
    by_name: Column | None = None
    allowed: str | None = None
    nearest: str | None = None


def match_headers(
    table: Table, headers: Sequence[str], mapping: Mapping[str, str | None]
) -> tuple[Matched, ...]:
    """Each header's column; `mapping` goes before what the header says, None in it leaves a column out."""
    found: list[Matched] = []
    taken: set[str] = set()
    for index, header in enumerate(headers):
        wanted = mapping.get(header, header)
        if wanted is None or (not header.strip() and header not in mapping) or _is_gone(table, wanted):
            found.append(Matched(index=index, header=header))
            continue
        one = _match(table, index, header, wanted)
        if one.column is not None and one.column.name in taken:
            one = Matched(index=index, header=header, allowed=f"{one.column.name} stands there already")
        if one.column is not None:
            taken.add(one.column.name)
        found.append(one)
    return tuple(found)


def _is_gone(table: Table, wanted: str) -> bool:
    return _parted(wanted)[0] in _GONE.get(table.name, ())


def how_many_known(table: Table, headers: Sequence[str]) -> int:
    """How many headers are clear as they stand."""
    return sum(one.column is not None for one in match_headers(table, headers, {}))


def _match(table: Table, index: int, header: str, wanted: str) -> Matched:
    name, unit = _parted(wanted)
    columns = written_columns(table.columns)
    for column in columns:
        if name == column.name:
            return _in_unit(index, header, column, unit)
    for column in columns:
        key = _unique_of(column)
        stem = column.name.removesuffix("_id")
        if key is not None and name in (stem, f"{stem}_{key.name}") and not unit:
            return Matched(index=index, header=header, column=column, by_name=key)
    bare, suffix = _unsuffixed(name)
    fitting = [c for c in columns if c.unit and _unsuffixed(c.name)[0] == bare]
    if suffix or unit:
        fitting = [c for c in fitting if _is_readable(c, unit or suffix)]
    if len(fitting) == 1 and fitting[0].unit == _BLOWN and not (suffix or unit):
        # Gauges read inches of water as often as kilopascals: one taken for the other is four times too much.
        allowed = f"its unit is needed: {bare} [inH2O] or {bare} [kPa]"
        return Matched(index=index, header=header, allowed=allowed, nearest=f"{bare} [inH2O]")
    if len(fitting) == 1:
        return _in_unit(index, header, fitting[0], unit or suffix)
    names = {spelling: column.header for column in columns for spelling in _spellings(column)}
    close = get_close_matches(name, names, n=1, cutoff=0.5) or get_close_matches(bare, names, n=1, cutoff=0.5)
    return Matched(
        index=index,
        header=header,
        allowed=f"{table.name} have {', '.join(c.header for c in columns)}",
        nearest=names[close[0]] if close else None,
    )


def _in_unit(index: int, header: str, column: Column, unit: str) -> Matched:
    if unit and not _is_readable(column, unit):
        known = [column.unit or "no unit", *(g for ours, g in _CONVERSIONS if ours == column.unit)]
        allowed = f"{column.name} is read in {', '.join(known)}"
        return Matched(index=index, header=header, allowed=allowed, nearest=column.header)
    return Matched(index=index, header=header, column=column, conversion=_conversion(column, unit))


def _is_readable(column: Column, unit: str) -> bool:
    return _spelt(unit) == column.unit or (column.unit, _spelt(unit)) in _CONVERSIONS


def _conversion(column: Column, unit: str) -> Conversion | None:
    found = _CONVERSIONS.get((column.unit, _spelt(unit)))
    if found is None:
        return None
    offset, times, over = found
    spread = "sd" in column.name.split("_")
    return Conversion(unit=_spelt(unit), offset=0.0 if spread else offset, times=times, over=over)


def _spelt(unit: str) -> str:
    return _SPELLINGS.get(unit.lower(), unit)


def _parted(header: str) -> tuple[str, str]:
    text = " ".join(header.split())
    found = _WITH_UNIT.fullmatch(text)
    name, unit = (found[1], found[2].strip()) if found else (text, "")
    return re.sub(r"[\s\-]+", "_", name.strip()).lower(), unit


def _unsuffixed(name: str) -> tuple[str, str]:
    for suffix in _SUFFIXES:
        if name.endswith(f"_{suffix}"):
            return name.removesuffix(f"_{suffix}"), suffix
    return name, ""


def _unique_of(column: Column) -> Column | None:
    if column.refers is None:
        return None
    return next((one for one in TABLES[column.refers].columns if one.unique), None)


def _spellings(column: Column) -> set[str]:
    return {column.name, _unsuffixed(column.name)[0], column.name.removesuffix("_id")}
