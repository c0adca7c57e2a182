"""What the ledger keeps: every table and column, written once, each row a record with types.

A field's type says what its column holds (`None` in it: may be absent), `Holds` what the type cannot say.
`tables` reads them for migrations, exchange and checks; rows become records as they leave the store. Guarded
by `tests/store/test_schema.py` and `tests/store/test_records.py`.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields, replace
from types import MappingProxyType
from typing import (
    TYPE_CHECKING,
    Annotated,
    Any,
    ClassVar,
    Final,
    Literal,
    TypeVar,
    dataclass_transform,
    get_args,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from typing import Self

#: How a value is written: `when` is an ISO 8601 time in UTC, `day` an ISO 8601 date, `flag` 0 or 1.
Kind = Literal["int", "real", "text", "when", "day", "flag"]
StateName = Literal["new", "on trial", "breaking in", "settled", "spare", "retired", "set aside"]
STATES: Final[tuple[StateName, ...]] = get_args(StateName)


@dataclass(frozen=True, slots=True, kw_only=True)
class Holds:
    """What a column holds beyond its field's type.

    `unit` is "" for what has none; `refers` names the table whose `id` it holds; `low` and `high` bound a
    number; `pattern` is what a text matches as a whole, "" for any.
    """

    kind: Kind | None = None
    pattern: str = ""
    unit: str = ""
    refers: str | None = None
    low: float | None = None
    high: float | None = None
    unique: bool = False


def _within(unit: str, low: float, high: float) -> Holds:
    return Holds(unit=unit, low=low, high=high)


def _of(table: str) -> Holds:
    return Holds(refers=table)


#: A digest as it is written: a recording's file is called so, and by nothing else.
SHA256: Final = "[0-9a-f]{64}"
Name = Annotated[str, Holds(unique=True)]
When = Annotated[str, Holds(kind="when")]
_PinMm = _within("mm", 0.0, 200.0)
_Kpa = Annotated[float | None, _within("kPa", 0.0, 30.0)]
_RoomDegc = Annotated[float | None, _within("°C", -20.0, 60.0)]
_RoomRh = Annotated[float | None, _within("%", 0.0, 100.0)]
_SdHz = Annotated[float | None, _within("Hz", 0.0, 1_000.0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One row.

    `id` is counted from 1 and never used twice; `version` is 1 when new, one more with every change;
    `removed_at` is when it went into the bin.
    """

    table: ClassVar[str]
    noun: ClassVar[str]

    id: int
    version: int
    removed_at: str | None

    def as_read(self, told: Mapping[str, Any]) -> Self:
        """The row as someone read it, by what they tell of it: to be compared with what stands now."""
        return replace(self, **told)

    def values(self) -> dict[str, Any]:
        """Every column by its name."""
        return asdict(self)


_records: dict[str, type[Record]] = {}
#: How each field of a kind of record is filled, by its column's name.
_setters: dict[type[Record], tuple[tuple[str, Callable[[Record, Any], None]], ...]] = {}
#: Every kind of row by its table, in an order in which whatever is referred to comes first.
RECORDS: Final[Mapping[str, type[Record]]] = MappingProxyType(_records)
Kept = TypeVar("Kept", bound=Record)


@dataclass_transform(frozen_default=True, kw_only_default=True)
def _kept_in(table: str, *, noun: str) -> Callable[[type[Kept]], type[Kept]]:
    """A record of a table of that name; `noun` is what one row is called."""

    def made(record: type[Kept]) -> type[Kept]:
        kept = dataclass(frozen=True, slots=True, kw_only=True)(record)
        kept.table, kept.noun = table, noun
        _records[table] = kept
        _setters[kept] = tuple((field.name, getattr(kept, field.name).__set__) for field in fields(kept))
        return kept

    return made


def columns_of(record: type[Record]) -> tuple[str, ...]:
    """Every column of a kind of record, in the order in which `as_records` takes them."""
    return tuple(name for name, _ in _setters[record])


def as_records(record: type[Kept], rows: Iterable[Sequence[Any]]) -> list[Kept]:
    """Rows, their values in the order of `columns_of`: a record's own `__init__` takes twice as long."""
    found, setters = [], [fill for _, fill in _setters[record]]
    for row in rows:
        made = object.__new__(record)
        for fill, value in zip(setters, row, strict=True):
            fill(made, value)
        found.append(made)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedRecord(Record):
    """One row of what goes by a name."""

    name: Name


@_kept_in("lots", noun="lot")
class LotRecord(NamedRecord):
    """Reeds bought together."""

    bought_on: Annotated[str | None, Holds(kind="day")]
    count: Annotated[int, _within("", 1, 10_000)]
    price: Annotated[float | None, _within("", 0.0, 1e6)]
    currency: str | None
    cane: str | None
    cut: str | None
    remarks: str | None


@_kept_in("players", noun="player")
class PlayerRecord(NamedRecord):
    """A player: what they blow now, and will not blow past."""

    blows_kpa: _Kpa
    ceiling_kpa: _Kpa
    remarks: str | None


@_kept_in("chanters", noun="chanter")
class ChanterRecord(NamedRecord):
    """A chanter, with its sizes as TOML if they are known."""

    player_id: Annotated[int | None, _of("players")]
    chanter_toml: str | None
    remarks: str | None


@_kept_in("drones", noun="drone")
class DroneRecord(NamedRecord):
    """A drone, and the mark on its pin."""

    kind: Literal["bass", "tenor"]
    player_id: Annotated[int | None, _of("players")]
    pin_mark_mm: Annotated[float | None, _PinMm]
    remarks: str | None


@_kept_in("reeds", noun="reed")
class ReedRecord(Record):
    """A reed and the state it is in."""

    number: Name
    lot_id: Annotated[int | None, _of("lots")]
    player_id: Annotated[int | None, _of("players")]
    chanter_id: Annotated[int | None, _of("chanters")]
    state: StateName
    state_reason: str | None
    state_since: When
    remarks: str | None


@_kept_in("settings", noun="setting")
class SettingRecord(Record):
    """How a reed sat in a chanter."""

    reed_id: Annotated[int, _of("reeds")]
    chanter_id: Annotated[int, _of("chanters")]
    at: When
    seat_mm: Annotated[float, _within("mm", -10.0, 10.0)]
    pinches: Annotated[int | None, _within("", 0, 20)]
    remarks: str | None


@_kept_in("tapes", noun="strip of tape")
class TapeRecord(Record):
    """A strip of tape on a hole, in a setting."""

    setting_id: Annotated[int, _of("settings")]
    hole: str
    covered_mm: Annotated[float, _within("mm", 0.0, 10.0)]


@_kept_in("takes", noun="take")
class TakeRecord(Record):
    """A take: what was played, on what, against which reference, in which room."""

    reed_id: Annotated[int | None, _of("reeds")]
    chanter_id: Annotated[int | None, _of("chanters")]
    player_id: Annotated[int | None, _of("players")]
    setting_id: Annotated[int | None, _of("settings")]
    at: When
    origin: str
    source: Literal["recording", "typed"]
    recording_sha256: Annotated[str | None, Holds(pattern=SHA256)]
    duration_s: Annotated[float | None, _within("s", 0.0, 36_000.0)]
    scale: str
    reference: Literal["drones", "low-a", "fixed"]
    reference_hz: Annotated[float | None, _within("Hz", 20.0, 5_000.0)]
    reference_sd_hz: _SdHz
    room_degc: _RoomDegc
    room_rh: _RoomRh
    warm_min: Annotated[float | None, _within("min", 0.0, 1_000.0)]
    remarks: str | None


@_kept_in("pitches", noun="pitch")
class PitchRecord(Record):
    """A note of a take; `typed_value` is what was typed, where it was."""

    take_id: Annotated[int, _of("takes")]
    note: str
    hz: Annotated[float, _within("Hz", 20.0, 20_000.0)]
    sd_hz: _SdHz
    repeat_sd_cents: Annotated[float | None, _within("cents", 0.0, 1_000.0)]
    typed_value: Annotated[float | None, _within("", -1e9, 1e9)]
    typed_unit: Literal["Hz", "cents"] | None


@_kept_in("strengths", noun="strength reading")
class StrengthRecord(Record):
    """How strong a reed was: pressures at its moments, or how it compared with another by mouth."""

    reed_id: Annotated[int, _of("reeds")]
    player_id: Annotated[int | None, _of("players")]
    at: When
    onset_kpa: _Kpa
    onset_sd_kpa: _Kpa
    playing_kpa: _Kpa
    playing_sd_kpa: _Kpa
    dropout_kpa: _Kpa
    dropout_sd_kpa: _Kpa
    choke_kpa: _Kpa
    choke_sd_kpa: _Kpa
    given_unit: Literal["inH2O", "mbar", "kPa"] | None
    by_mouth: Literal["easier", "same", "a little stronger", "much stronger"] | None
    than_reed_id: Annotated[int | None, _of("reeds")]
    remarks: str | None

    @property
    def pressures_kpa(self) -> dict[str, tuple[float, float | None]]:
        """What was read at each moment, with its standard uncertainty, kPa."""
        told = {
            "onset": (self.onset_kpa, self.onset_sd_kpa),
            "playing": (self.playing_kpa, self.playing_sd_kpa),
            "dropout": (self.dropout_kpa, self.dropout_sd_kpa),
            "choke": (self.choke_kpa, self.choke_sd_kpa),
        }
        return {moment: (kpa, sd) for moment, (kpa, sd) in told.items() if kpa is not None}


@_kept_in("eases", noun="ease")
class EaseRecord(Record):
    """A pinch, or another way of easing."""

    reed_id: Annotated[int, _of("reeds")]
    at: When
    how: Literal["pinch", "other"]
    remarks: str | None


@_kept_in("plays", noun="spell of playing")
class PlayRecord(Record):
    """Minutes that a reed was played."""

    reed_id: Annotated[int, _of("reeds")]
    player_id: Annotated[int | None, _of("players")]
    chanter_id: Annotated[int | None, _of("chanters")]
    at: When
    minutes: Annotated[float, _within("min", 0.0, 1_440.0)]
    level_dba: Annotated[float | None, _within("dB(A)", 20.0, 140.0)]
    room_degc: _RoomDegc
    room_rh: _RoomRh
    remarks: str | None


@_kept_in("mouth_tests", noun="mouth test")
class MouthTestRecord(Record):
    """A mouth that tested a reed, and until when the reed rests for others."""

    reed_id: Annotated[int, _of("reeds")]
    player_id: Annotated[int, _of("players")]
    at: When
    rests_until: When
    remarks: str | None


@_kept_in("pin_marks", noun="pin mark")
class PinMarkRecord(Record):
    """Where a drone's pin stood, and its pitch there, if a meter told it."""

    drone_id: Annotated[int, _of("drones")]
    at: When
    pin_mm: Annotated[float, _PinMm]
    hz: Annotated[float | None, _within("Hz", 20.0, 2_000.0)]
    sd_hz: _SdHz
    remarks: str | None


@_kept_in("bands", noun="band")
class BandRecord(Record):
    """What a band or workshop has settled once; of several rows the first is in force."""

    at: When
    name: str | None
    low_a_hz: Annotated[float | None, _within("Hz", 350.0, 600.0)]
    scale: str | None
    pressure_unit: Literal["inH2O", "mbar", "kPa"] | None
    time_zone: str | None
    chanter_id: Annotated[int | None, _of("chanters")]
    player_id: Annotated[int | None, _of("players")]
    paper: Literal["A4", "Letter"] | None
    session_minutes: str | None
    rest_h: Annotated[float | None, _within("h", 0.0, 240.0)]
    settled_onset_kpa: Annotated[float | None, _within("kPa", 0.0, 5.0)]
    settled_low_a_cents: Annotated[float | None, _within("cents", 0.0, 100.0)]
    settled_sessions: Annotated[int | None, _within("", 1, 50)]
