"""What the ledger keeps: every table and column, with unit, written once.

Migrations make the tables, exchange and checks read them here. Every table also has `id` (counted from 1,
never used twice), `version` (1 when new, one more with every change) and `removed_at` (when it went into the
bin, else null). Guarded by `tests/store/test_schema.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, Literal

from canebench.base.errors import UnknownNameError

if TYPE_CHECKING:
    from collections.abc import Mapping

#: How a value is written: `when` is an ISO 8601 time in UTC, `day` an ISO 8601 date, `flag` 0 or 1.
Kind = Literal["int", "real", "text", "when", "day", "flag"]
Value = int | float | str | None
Row = dict[str, Value]

STATES: Final = ("new", "on trial", "breaking in", "settled", "spare", "retired", "set aside")


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column.

    `unit` is "" for what has none; `refers` names the table whose `id` it holds; `choices` closes a list of
    words; `low` and `high` bound a number.
    """

    name: str
    kind: Kind
    unit: str = ""
    needed: bool = False
    refers: str | None = None
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    unique: bool = False

    @property
    def header(self) -> str:
        """As it stands over a column of numbers: name and unit."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One table; `noun` is what one row is called."""

    name: str
    noun: str
    columns: tuple[Column, ...]

    def column(self, name: str) -> Column:
        """The column of that name; an unknown one is an error that lists the known ones."""
        for column in self.columns:
            if column.name == name:
                return column
        raise UnknownNameError(
            field=f"column of {self.name}", given=name, known=[c.name for c in self.columns]
        )


def _text(name: str, *, needed: bool = False, choices: tuple[str, ...] = (), unique: bool = False) -> Column:
    return Column(name=name, kind="text", needed=needed, choices=choices, unique=unique)


def _real(name: str, unit: str, low: float, high: float, *, needed: bool = False) -> Column:
    return Column(name=name, kind="real", unit=unit, low=low, high=high, needed=needed)


def _count(name: str, low: int, high: int, *, needed: bool = False) -> Column:
    return Column(name=name, kind="int", low=low, high=high, needed=needed)


def _of(table: str, *, needed: bool = False, name: str = "") -> Column:
    return Column(name=name or f"{table.removesuffix('s')}_id", kind="int", refers=table, needed=needed)


_AT: Final = Column(name="at", kind="when", needed=True)
_REMARKS: Final = _text("remarks")
_KPA: Final = ("kPa", 0.0, 30.0)
_PRESSURES: Final = tuple(
    column
    for moment in ("onset", "playing", "dropout", "choke")
    for column in (_real(f"{moment}_kpa", *_KPA), _real(f"{moment}_sd_kpa", *_KPA))
)

TABLES: Final[Mapping[str, Table]] = MappingProxyType(
    {
        table.name: table
        for table in (
            Table(
                name="lots",
                noun="lot",
                columns=(
                    _text("name", needed=True, unique=True),
                    Column(name="bought_on", kind="day"),
                    _count("count", 1, 10_000, needed=True),
                    _real("price", "", 0.0, 1e6),
                    _text("currency"),
                    _text("cane"),
                    _text("cut"),
                    _REMARKS,
                ),
            ),
            Table(
                name="players",
                noun="player",
                columns=(
                    _text("name", needed=True, unique=True),
                    _real("blows_kpa", *_KPA),
                    _real("ceiling_kpa", *_KPA),
                    _REMARKS,
                ),
            ),
            Table(
                name="chanters",
                noun="chanter",
                columns=(
                    _text("name", needed=True, unique=True),
                    _of("players"),
                    _text("chanter_toml"),
                    _REMARKS,
                ),
            ),
            Table(
                name="drones",
                noun="drone",
                columns=(
                    _text("name", needed=True, unique=True),
                    _text("kind", needed=True, choices=("bass", "tenor")),
                    _of("players"),
                    _real("pin_mark_mm", "mm", 0.0, 200.0),
                    _REMARKS,
                ),
            ),
            Table(
                name="reeds",
                noun="reed",
                columns=(
                    _text("number", needed=True, unique=True),
                    _of("lots"),
                    _of("players"),
                    _of("chanters"),
                    _text("state", needed=True, choices=STATES),
                    _text("state_reason"),
                    Column(name="state_since", kind="when", needed=True),
                    _REMARKS,
                ),
            ),
            Table(
                name="settings",
                noun="setting",
                columns=(
                    _of("reeds", needed=True),
                    _of("chanters", needed=True),
                    _AT,
                    _real("seat_mm", "mm", -10.0, 10.0, needed=True),
                    _count("pinches", 0, 20),
                    _REMARKS,
                ),
            ),
            Table(
                name="tapes",
                noun="strip of tape",
                columns=(
                    _of("settings", needed=True),
                    _text("hole", needed=True),
                    _real("covered_mm", "mm", 0.0, 10.0, needed=True),
                ),
            ),
            Table(
                name="takes",
                noun="take",
                columns=(
                    _of("reeds"),
                    _of("chanters"),
                    _of("players"),
                    _of("settings"),
                    _AT,
                    _text("origin", needed=True),
                    _text("source", needed=True, choices=("recording", "typed")),
                    _text("recording_sha256"),
                    _real("duration_s", "s", 0.0, 36_000.0),
                    _text("scale", needed=True),
                    _text("reference", needed=True, choices=("drones", "low-a", "fixed")),
                    _real("reference_hz", "Hz", 20.0, 5_000.0),
                    _real("reference_sd_hz", "Hz", 0.0, 1_000.0),
                    _real("room_degc", "°C", -20.0, 60.0),
                    _real("room_rh", "%", 0.0, 100.0),
                    _real("warm_min", "min", 0.0, 1_000.0),
                    _REMARKS,
                ),
            ),
            Table(
                name="pitches",
                noun="pitch",
                columns=(
                    _of("takes", needed=True),
                    _text("note", needed=True),
                    _real("hz", "Hz", 20.0, 20_000.0, needed=True),
                    _real("sd_hz", "Hz", 0.0, 1_000.0),
                    _real("repeat_sd_cents", "cents", 0.0, 1_000.0),
                    _real("typed_value", "", -1e9, 1e9),
                    _text("typed_unit", choices=("Hz", "cents")),
                ),
            ),
            Table(
                name="strengths",
                noun="strength reading",
                columns=(
                    _of("reeds", needed=True),
                    _of("players"),
                    _AT,
                    *_PRESSURES,
                    _text("given_unit", choices=("inH2O", "mbar", "kPa")),
                    _text("by_mouth", choices=("easier", "same", "a little stronger", "much stronger")),
                    _of("reeds", name="than_reed_id"),
                    _REMARKS,
                ),
            ),
            Table(
                name="eases",
                noun="ease",
                columns=(
                    _of("reeds", needed=True),
                    _AT,
                    _text("how", needed=True, choices=("pinch", "other")),
                    _REMARKS,
                ),
            ),
            Table(
                name="plays",
                noun="spell of playing",
                columns=(
                    _of("reeds", needed=True),
                    _of("players"),
                    _of("chanters"),
                    _AT,
                    _real("minutes", "min", 0.0, 1_440.0, needed=True),
                    _real("level_dba", "dB(A)", 20.0, 140.0),
                    _real("room_degc", "°C", -20.0, 60.0),
                    _real("room_rh", "%", 0.0, 100.0),
                    _REMARKS,
                ),
            ),
            Table(
                name="mouth_tests",
                noun="mouth test",
                columns=(
                    _of("reeds", needed=True),
                    _of("players", needed=True),
                    _AT,
                    Column(name="rests_until", kind="when", needed=True),
                    _REMARKS,
                ),
            ),
            Table(
                name="pin_marks",
                noun="pin mark",
                columns=(
                    _of("drones", needed=True),
                    _AT,
                    _real("pin_mm", "mm", 0.0, 200.0, needed=True),
                    _real("hz", "Hz", 20.0, 2_000.0),
                    _real("sd_hz", "Hz", 0.0, 1_000.0),
                    _REMARKS,
                ),
            ),
        )
    }
)


def table_named(name: str) -> Table:
    """The table of that name; an unknown one is an error that lists the known ones."""
    if name not in TABLES:
        raise UnknownNameError(field="table", given=name, known=TABLES)
    return TABLES[name]
