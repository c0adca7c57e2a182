"""Chanters from files: TOML with sizes in millimetres, and how well each is known.

The generic chanter that comes with the package is such a file. Guarded by
`tests/faults/test_chanter_file.py`.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.fingering import HOLES
from canebench.base.sizes import PER_CENT, Range, is_finite, is_number, said
from canebench.base.toml_file import POINT_NOT_COMMA, read_text, tables
from canebench.bore.geometry import BORE_LENGTH, MOST_SECTIONS, BoreSection, Chanter, Hole, Reed, Seat

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

SCHEMA: Final = "canebench.chanter/1"
_TABLES: Final = ("schema", "name", "source", "profile_mm", "seat", "reed", "hole", "vent", "spread")
_START_FROM: Final = "A chanter file to start from: canebench chanter --toml"


def _share(low: float, high: float, usual: float) -> Range:
    return Range(low=low, high=high, usual=usual, unit="", slips=(PER_CENT,))


_SPREADS: Final = {
    "bore": _share(1e-4, 0.2, 0.03),
    "holes": _share(1e-4, 0.3, 0.05),
    "seat": _share(1e-4, 0.5, 0.12),
    "gap_mm": Range(low=1e-3, high=3.0, usual=0.5),
    "reed": _share(1e-3, 0.6, 0.3),
    "walls": _share(1e-3, 1.0, 0.25),
    "temp_degc": Range(low=1e-2, high=10.0, usual=2.0, unit="°C"),
    "offset_cents": Range(low=1e-2, high=30.0, usual=2.0, unit="cents"),
    "drift_cents": Range(low=0.0, high=20.0, usual=0.5, unit="cents"),
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
        for name, allowed in _SPREADS.items():
            allowed.check(f"spread of {name}", getattr(self, name))


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
    """The invented chanter that stands in for one that nobody measured.

    Returns
    -------
    ChanterFile
        Sizes of no real chanter, with wide spreads; its text is `generic.toml`.
    """
    return parse(generic_text(), name="generic.toml")


def generic_text() -> str:
    """Its file, to start one's own from."""
    return files("canebench.bore").joinpath("generic.toml").read_text(encoding="utf-8")


def read(path: Path) -> ChanterFile:
    """A chanter from a file of at most 100 kB.

    Parameters
    ----------
    path : Path
        A chanter's file; `canebench chanter --toml` writes one to start from.

    Returns
    -------
    ChanterFile
        As `parse` gives it.

    Raises
    ------
    NotFoundError
        No such file.
    InputError
        It cannot be read, is too long, no text, or refused by `parse`.
    """
    return parse(read_text(path, start_from=_START_FROM), name=path.name)


def parse(text: str, *, name: str) -> ChanterFile:
    """A chanter from the text of its file; `name` stands in the errors.

    Parameters
    ----------
    text : str
        TOML with the schema `canebench.chanter/1`; sizes in mm, spreads as `Spread` has them.
    name : str
        The file's name.

    Returns
    -------
    ChanterFile
        Chanter, reed, how well each size is known, and the text itself.

    Raises
    ------
    InputError
        Not TOML, a key or a size that cannot be, or a file in another unit: it says where, and what is
        allowed.

    Guarded by `tests/faults/test_chanter_file.py`.
    """
    table = tables(text, name=name)
    _known(name, table, _TABLES)
    if table.get("schema") != SCHEMA:
        raise InputError(
            field=f"{name}: schema",
            given=said(table["schema"]) if "schema" in table else "nothing",
            allowed=f'"{SCHEMA}" is read',
            nearest=f'a first line, schema = "{SCHEMA}"',
        )
    # The profile first: it tells best when a whole file is in another unit.
    sections = _sections(f"{name}: profile_mm", table.get("profile_mm"))
    holes = _holes(name, table.get("hole"))
    vents = tuple(_hole(f"{name}: vent", row) for row in _rows(name, "vent", table.get("vent", [])))
    seat = _numbers(f"{name}: seat", _table(name, table, "seat"), ("diameter_mm", "gap_mm"))
    reed, spread = _reed(f"{name}: reed", _table(name, table, "reed")), _spread(name, table)
    title = _words(name, table, "name", absent=name)
    source = _words(name, table, "source", absent="not stated")
    with _naming(name):
        chanter = Chanter(name=title, seat=Seat(**seat), sections=sections, holes=holes, vents=vents)
    return ChanterFile(chanter=chanter, reed=reed, spread=spread, source=source, text=text)


def _reed(where: str, table: dict[str, Any]) -> Reed:
    keys = ("volume_mm3", "staple_length_mm", "staple_top_mm", "staple_bottom_mm")
    sizes = _numbers(where, table, keys)
    with _naming(where):
        staple = BoreSection(
            length_mm=sizes["staple_length_mm"],
            top_mm=sizes["staple_top_mm"],
            bottom_mm=sizes["staple_bottom_mm"],
        )
        return Reed(volume_mm3=sizes["volume_mm3"], staple=staple)


def _spread(name: str, table: dict[str, Any]) -> Spread:
    """What the file states, the generic chanter's for the rest."""
    given = table.get("spread", {})
    names = [field.name for field in fields(Spread)]
    _known(f"{name}: spread", given, names)
    usual = {} if set(given) >= set(names) else tables(generic_text(), name="generic.toml")["spread"]
    sizes = _numbers(f"{name}: spread", {**usual, **given}, names)
    with _naming(name):
        return Spread(**sizes)


def _sections(where: str, profile: object) -> tuple[BoreSection, ...]:
    if not isinstance(profile, list) or not 2 <= len(profile) <= MOST_SECTIONS + 1:
        raise InputError(
            field=where,
            given=f"{len(profile)} entries" if isinstance(profile, list) else _shown(profile),
            allowed=f"2 to {MOST_SECTIONS + 1} pairs [distance, diameter] are needed",
        )
    points = [_point(where, entry) for entry in profile]
    BORE_LENGTH.check(f"{where}: distance of its last entry", points[-1][0])
    if points[0][0] != 0:
        raise InputError(
            field=where, given=f"a start at {said(points[0][0], 'mm')}", allowed="it starts at the throat, 0"
        )
    steps = list(pairwise(points))
    for (start, _), (end, _) in steps:
        if end < start:
            raise InputError(
                field=where,
                given=f"{said(end, 'mm')} after {said(start, 'mm')}",
                allowed="distances from the throat rise",
                nearest="perhaps two entries are exchanged, or lengths were given for distances",
            )
    with _naming(where):
        return tuple(
            BoreSection(length_mm=end - start, top_mm=top, bottom_mm=bottom)
            for (start, top), (end, bottom) in steps
            if end > start
        )


def _point(where: str, entry: object) -> tuple[float, float]:
    if isinstance(entry, list) and len(entry) == 2:
        distance, diameter = entry
        if is_finite(distance) and is_finite(diameter):
            return distance, diameter
    raise InputError(
        field=where,
        given=said(entry),
        allowed="a pair [distance, diameter] is needed",
        nearest=POINT_NOT_COMMA if _long_list(entry) else None,
    )


def _long_list(entry: object) -> bool:
    return isinstance(entry, list) and len(entry) > 2


def _holes(name: str, rows: object) -> tuple[Hole, ...]:
    found: dict[str, Hole] = {}
    for row in _rows(name, "hole", rows):
        note = row.get("note")
        if note not in HOLES:
            given = note[:60] if isinstance(note, str) else _shown(note)
            raise UnknownNameError(field=f"{name}: note of a hole", given=given, known=HOLES)
        if note in found:
            raise InputError(field=f"{name}: hole {note}", given="twice", allowed="each hole stands once")
        found[note] = _hole(f"{name}: hole {note}", {key: row[key] for key in row if key != "note"})
    missing = [hole for hole in HOLES if hole not in found]
    if missing:
        raise InputError(field=f"{name}: hole", given=f"no {', '.join(missing)}", allowed="eight are needed")
    return tuple(found[hole] for hole in HOLES)


def _hole(where: str, row: dict[str, Any]) -> Hole:
    sizes = _numbers(where, row, ("position_mm", "diameter_mm", "wall_mm"))
    with _naming(where):
        return Hole(**sizes)


def _rows(name: str, key: str, rows: object) -> list[dict[str, Any]]:
    if not isinstance(rows, list) or len(rows) > len(HOLES) or not all(isinstance(row, dict) for row in rows):
        raise InputError(
            field=f"{name}: {key}",
            given=f"{len(rows)} of them" if isinstance(rows, list) else _shown(rows),
            allowed=f"at most {len(HOLES)} tables [[{key}]]",
        )
    return rows


def _table(name: str, table: dict[str, Any], key: str) -> dict[str, Any]:
    found = table.get(key)
    if not isinstance(found, dict):
        raise InputError(field=f"{name}: {key}", given=_shown(found), allowed=f"a table [{key}] is needed")
    return found


def _numbers(where: str, table: dict[str, Any], keys: Iterable[str]) -> dict[str, float]:
    """Exactly these keys, each with a number."""
    _known(where, table, keys)
    for key in keys:
        if not is_number(table.get(key)):
            raise InputError(
                field=f"{where}: {key}", given=_shown(table.get(key)), allowed="a number is needed"
            )
    return {key: table[key] for key in keys}


def _words(name: str, table: dict[str, Any], key: str, *, absent: str) -> str:
    """Text that a terminal shows as it is."""
    value = table.get(key, absent)
    if not isinstance(value, str) or not "".join(value.split()).isprintable():
        raise InputError(field=f"{name}: {key}", given=_shown(value), allowed="text in quotes is needed")
    return value


def _shown(value: object) -> str:
    return "nothing" if value is None else said(value)


@contextmanager
def _naming(where: str) -> Iterator[None]:
    """Puts the place in the file before what a record says of itself."""
    try:
        yield
    except InputError as error:
        raise InputError(
            field=f"{where}: {error.field}", given=error.given, allowed=error.allowed, nearest=error.nearest
        ) from error


def _known(where: str, table: dict[str, Any], known: Iterable[str]) -> None:
    if not isinstance(table, dict):
        raise InputError(field=where, given=_shown(table), allowed="a table is needed")
    for key in table:
        if key not in known:
            raise UnknownNameError(field=where, given=key[:60], known=known)
