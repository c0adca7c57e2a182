"""Chanters from files: TOML with sizes in millimetres, and how well each is known.

The generic chanter that comes with the package is such a file. Guarded by
`tests/faults/test_chanter_file.py`.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

from canebench.base.errors import InputError, NotFoundError, UnknownNameError
from canebench.base.fingering import HOLES
from canebench.bore.geometry import MOST_SECTIONS, Chanter, Hole, Reed, Seat, Section

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

SCHEMA: Final = "canebench.chanter/1"
_MOST_BYTES: Final = 100_000
_TABLES: Final = ("schema", "name", "source", "profile_mm", "seat", "reed", "hole", "vent", "spread")
_SPREADS: Final = {
    "bore": (1e-4, 0.2),
    "holes": (1e-4, 0.3),
    "seat": (1e-4, 0.5),
    "gap_mm": (1e-3, 3.0),
    "reed": (1e-3, 0.6),
    "walls": (1e-3, 1.0),
    "temp_degc": (1e-2, 10.0),
    "offset_cents": (1e-2, 30.0),
    "drift_cents": (0.0, 20.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Standard deviations of what is not known well: shares, millimetres, °C, cents (see `generic.toml`)."""

    bore: float
    holes: float
    seat: float
    gap_mm: float
    reed: float
    walls: float
    temp_degc: float
    offset_cents: float
    drift_cents: float

    def __post_init__(self) -> None:
        for name, (low, high) in _SPREADS.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise InputError(
                    field=f"spread of {name}",
                    given=f"{value:g}",
                    allowed=f"from {low:g} to {high:g} is allowed",
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class ChanterFile:
    """A chanter with a typical reed in it, how well each size is known, and the file it is from."""

    chanter: Chanter
    reed: Reed
    spread: Spread
    source: str
    text: str


@cache
def generic() -> ChanterFile:
    """The invented chanter that stands in for one that nobody measured."""
    return parse(generic_text(), name="generic.toml")


def generic_text() -> str:
    """Its file, to start one's own from."""
    return files("canebench.bore").joinpath("generic.toml").read_text(encoding="utf-8")


def read(path: Path) -> ChanterFile:
    """A chanter from a file of at most 100 kB."""
    if not path.is_file():
        raise NotFoundError(f"{path}: no such file. A chanter file to start from: canebench chanter --toml")
    if path.stat().st_size > _MOST_BYTES:
        raise InputError(
            field=str(path), given=f"{path.stat().st_size} bytes", allowed=f"at most {_MOST_BYTES} are read"
        )
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(field=str(path), given="not text", allowed="UTF-8 text is needed") from error
    return parse(text, name=path.name)


def parse(text: str, *, name: str) -> ChanterFile:
    """A chanter from the text of its file; `name` stands in the errors."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(field=name, given=str(error), allowed="TOML is needed") from error
    _known(name, table, _TABLES)
    if table.get("schema") != SCHEMA:
        raise InputError(
            field=f"{name}: schema", given=repr(table.get("schema")), allowed=f'"{SCHEMA}" is read'
        )
    seat, reed = _table(name, table, "seat"), _table(name, table, "reed")
    _known(f"{name}: seat", seat, ("diameter_mm", "gap_mm"))
    _known(f"{name}: reed", reed, ("volume_mm3", "staple_length_mm", "staple_top_mm", "staple_bottom_mm"))
    return ChanterFile(
        chanter=Chanter(
            name=str(table.get("name", name)),
            seat=Seat(**{key: _number(f"{name}: seat", seat, key) for key in ("diameter_mm", "gap_mm")}),
            sections=_sections(name, table.get("profile_mm")),
            holes=_holes(name, table.get("hole")),
            vents=tuple(_hole(f"{name}: vent", row) for row in _rows(name, "vent", table.get("vent", []))),
        ),
        reed=Reed(
            volume_mm3=_number(f"{name}: reed", reed, "volume_mm3"),
            staple=Section(
                length_mm=_number(f"{name}: reed", reed, "staple_length_mm"),
                top_mm=_number(f"{name}: reed", reed, "staple_top_mm"),
                bottom_mm=_number(f"{name}: reed", reed, "staple_bottom_mm"),
            ),
        ),
        spread=_spread(name, table),
        source=str(table.get("source", "not stated")),
        text=text,
    )


def _spread(name: str, table: dict[str, Any]) -> Spread:
    """What the file states, the generic chanter's for the rest."""
    given = table.get("spread", {})
    names = [field.name for field in fields(Spread)]
    _known(f"{name}: spread", given, names)
    usual = given if set(given) >= set(names) else {**tomllib.loads(generic_text())["spread"], **given}
    return Spread(**{key: _number(f"{name}: spread", usual, key) for key in names})


def _sections(name: str, profile: object) -> tuple[Section, ...]:
    where = f"{name}: profile_mm"
    if not isinstance(profile, list) or not 2 <= len(profile) <= MOST_SECTIONS + 1:
        given = f"{len(profile)} entries" if isinstance(profile, list) else repr(profile)
        raise InputError(
            field=where,
            given=given,
            allowed=f"2 to {MOST_SECTIONS + 1} pairs [distance, diameter] are needed",
        )
    points = [_point(where, entry) for entry in profile]
    if points[0][0] != 0:
        raise InputError(
            field=where, given=f"a start at {points[0][0]:g} mm", allowed="it starts at the throat, 0"
        )
    found = []
    for (start, top), (end, bottom) in pairwise(points):
        if end < start:
            raise InputError(
                field=where,
                given=f"{end:g} mm after {start:g} mm",
                allowed="distances from the throat rise",
                nearest="perhaps two entries are exchanged, or lengths were given for distances",
            )
        if end > start:
            found.append(Section(length_mm=end - start, top_mm=top, bottom_mm=bottom))
    return tuple(found)


def _point(where: str, entry: object) -> tuple[float, float]:
    if isinstance(entry, list) and len(entry) == 2 and all(_is_number(value) for value in entry):
        return float(entry[0]), float(entry[1])
    raise InputError(field=where, given=repr(entry)[:60], allowed="a pair [distance, diameter] is needed")


def _holes(name: str, rows: object) -> tuple[Hole, ...]:
    found: dict[str, Hole] = {}
    for row in _rows(name, "hole", rows):
        note = row.get("note")
        if note not in HOLES:
            raise UnknownNameError(field=f"{name}: note of a hole", given=str(note), known=HOLES)
        if note in found:
            raise InputError(field=f"{name}: hole {note}", given="twice", allowed="each hole stands once")
        found[note] = _hole(f"{name}: hole {note}", {key: row[key] for key in row if key != "note"})
    missing = [hole for hole in HOLES if hole not in found]
    if missing:
        raise InputError(field=f"{name}: hole", given=f"no {', '.join(missing)}", allowed="eight are needed")
    return tuple(found[hole] for hole in HOLES)


def _hole(where: str, row: dict[str, Any]) -> Hole:
    keys = ("position_mm", "diameter_mm", "wall_mm")
    _known(where, row, keys)
    return Hole(**{key: _number(where, row, key) for key in keys})


def _rows(name: str, key: str, rows: object) -> list[dict[str, Any]]:
    if not isinstance(rows, list) or len(rows) > len(HOLES) or not all(isinstance(row, dict) for row in rows):
        given = f"{len(rows)} of them" if isinstance(rows, list) else repr(rows)[:60]
        raise InputError(
            field=f"{name}: {key}", given=given, allowed=f"at most {len(HOLES)} tables [[{key}]]"
        )
    return rows


def _table(name: str, table: dict[str, Any], key: str) -> dict[str, Any]:
    found = table.get(key)
    if not isinstance(found, dict):
        raise InputError(field=f"{name}: {key}", given=repr(found)[:60], allowed=f"a table [{key}] is needed")
    return found


def _number(where: str, table: dict[str, Any], key: str) -> float:
    value = table.get(key)
    if value is None or not _is_number(value):
        raise InputError(field=f"{where}: {key}", given=repr(value)[:60], allowed="a number is needed")
    return float(value)


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _known(where: str, table: dict[str, Any], known: Iterable[str]) -> None:
    if not isinstance(table, dict):
        raise InputError(field=where, given=repr(table)[:60], allowed="a table is needed")
    for key in table:
        if key not in known:
            raise UnknownNameError(field=where, given=key, known=known)
