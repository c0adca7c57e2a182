"""Drones and where their pins stand: without a meter, the way the drones are out tells the chanter's pitch.

A drone that is pulled out past the mark is longer and lower, so a chanter it is in tune with there is flat of
its usual pitch; pushed in, sharp. Common practice, no source; how much a millimetre is differs from drone to
drone, so only the direction is said until a meter told its pitch at two places. Guarded by
`tests/practice/test_pins.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.uncertain import Uncertain, number
from canebench.base.units import CENTS_PER_NEPER
from canebench.bench.acts.ledger import check_new, named
from canebench.store.records import DroneRecord, PinMarkRecord, PlayerRecord

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.store.ledger import Ledger
    from canebench.store.tables import Value
    from canebench.store.writer import Writer

KINDS: Final = ("bass", "tenor")
#: A pin is set by hand to about this, mm: an estimate of ours.
PIN_SD_MM: Final = 0.5
#: What a meter that shows tenths of a hertz leaves open, where nobody told it.
_METER_SD_HZ: Final = 0.1
#: Pitches from places nearer than this say little of a millimetre.
_APART_MM: Final = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PinNoted:
    """Where a pin was noted, and what that says."""

    drone: DroneRecord
    pin_mm: float
    said: str


def keep_drone(
    ledger: Ledger,
    name: str,
    *,
    who: str,
    kind: str | None = None,
    player: str | None = None,
    mark_mm: float | None = None,
    pin_mm: float | None = None,
    hz: float | None = None,
) -> DroneRecord:
    """A drone, new if it is not there (then with its kind); with its player and the mark on its pin.

    `pin_mm` is where the pin stands now, in the same act; `hz` the pitch that a meter tells there.
    """
    if kind is not None and kind not in KINDS:
        raise UnknownNameError(field="kind of drone", given=kind, known=KINDS)
    with ledger.act("drone", who=who, said=f"drone {name}") as act:
        told: dict[str, Value] = {}
        if kind is not None:
            told["kind"] = kind
        if mark_mm is not None:
            told["pin_mark_mm"] = mark_mm
        if player is not None:
            told["player_id"] = named(act, PlayerRecord, player).id
        drone = _drone(act, name, told)
        if pin_mm is not None:
            _note(act, drone, pin_mm=pin_mm, hz=hz)
    return drone


def _drone(act: Writer, name: str, told: dict[str, Value]) -> DroneRecord:
    known = act.find(DroneRecord, "name", name)
    if known is not None:
        return act.update(known, told) if told else known
    check_new(act, DroneRecord, name, field="drone")
    if "kind" not in told:
        allowed = "a new drone is a bass or a tenor"
        raise InputError(field="kind of drone", given="none", allowed=allowed, nearest="tenor")
    return act.row(DroneRecord, act.insert("drones", {"name": name, **told}))


def note_pin(
    ledger: Ledger,
    name: str,
    *,
    pin_mm: float,
    who: str,
    hz: float | None = None,
    sd_hz: float | None = None,
    remarks: str | None = None,
) -> PinNoted:
    """Where the pin stands with the drone in tune with low A, mm out; and its pitch, if a meter told it."""
    if sd_hz is not None and hz is None:
        raise InputError(
            field="pitch", given="its uncertainty alone", allowed="the pitch in Hz is needed too"
        )
    with ledger.act("pin", who=who, said=f"pin of {name} at {pin_mm:g} mm") as act:
        drone = named(act, DroneRecord, name)
        _note(act, drone, pin_mm=pin_mm, hz=hz, sd_hz=sd_hz, remarks=remarks)
        known = cents_a_mm(act.rows(PinMarkRecord, {"drone_id": drone.id}))
    return PinNoted(drone=drone, pin_mm=pin_mm, said=what_pin_says(pin_mm, drone.pin_mark_mm, known))


def _note(act: Writer, drone: DroneRecord, **told: Value) -> None:
    act.insert("pin_marks", {"drone_id": drone.id, "at": act.at, **told})


def cents_a_mm(marks: Sequence[PinMarkRecord]) -> Uncertain | None:
    """How a drone's pitch moves with its pin, cents a millimetre out; None before two places were measured.

    A straight line through the pitches that a meter told, least squares; its standard uncertainty is that of
    pin and meter, or what the pitches scatter by, if that is more.
    """
    told = [(mark.pin_mm, mark.hz, mark.sd_hz) for mark in marks if mark.hz is not None]
    places = [mm for mm, *_ in told]
    if not told or max(places) - min(places) < _APART_MM:
        return None
    cents = [CENTS_PER_NEPER * math.log(hz) for _, hz, _ in told]
    mean_mm, mean_cents = math.fsum(places) / len(told), math.fsum(cents) / len(told)
    spread = math.fsum((mm - mean_mm) ** 2 for mm in places)
    both = zip(places, cents, strict=True)
    slope = math.fsum((mm - mean_mm) * (one - mean_cents) for mm, one in both) / spread
    rest = [one - mean_cents - slope * (mm - mean_mm) for mm, one in zip(places, cents, strict=True)]
    meter = max(CENTS_PER_NEPER * (_METER_SD_HZ if sd is None else sd) / hz for _, hz, sd in told)
    sd = math.hypot(slope * PIN_SD_MM, meter)
    if len(told) > 2:
        sd = max(sd, math.sqrt(math.fsum(one**2 for one in rest) / (len(told) - 2)))
    return Uncertain(value=slope, sd=sd / math.sqrt(spread))


def what_pin_says(pin_mm: float, mark_mm: float | None, known: Uncertain | None = None) -> str:
    """The chanter's pitch from where the pin stands, in words; how much, where it is known of this drone."""
    if mark_mm is None:
        return "This pin has no mark yet: set one where drone and chanter agree at your usual pitch."
    out = pin_mm - mark_mm
    if abs(out) <= 2 * PIN_SD_MM:
        return "At the mark, as near as a hand sets it: the chanter is at its usual pitch."
    way, pitch, act = (
        ("out past", "flat", "seat the reed further in, taking hemp off where it will not go")
        if out > 0
        else ("in past", "sharp", "raise the reed with 3 to 4 inches more hemp")
    )
    amount = ""
    if known is not None and known.sd is not None and known.value < 0:
        sd = math.hypot(known.sd * out, known.value * math.sqrt(2) * PIN_SD_MM)
        amount = f", by {Uncertain(value=abs(known.value * out), sd=sd).text('cents')} as measured on it"
    return (
        f"{number(abs(out), 1)} mm {way} the mark: the chanter is {pitch} of its usual pitch{amount}. "
        f"If that is more than you want, {act}."
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class DroneNow(DroneRecord):
    """A drone, the name of its player, and where its pin was noted last."""

    player: str | None
    pin_mm: float | None
    pin_at: str | None


def list_drones(ledger: Ledger) -> list[DroneNow]:
    """All drones by name, each with where its pin was noted last."""
    with ledger.reading() as reader:
        drones = reader.rows(DroneRecord, order="name")
        players = reader.by_id(PlayerRecord, (drone.player_id for drone in drones))
        ids = [drone.id for drone in drones]
        marks = reader.newest_of_many(PinMarkRecord, "drone_id", ids, order="at")
    last = {mark.drone_id: mark for mark in marks}
    return [
        DroneNow(
            **drone.values(),
            player=players[drone.player_id].name if drone.player_id in players else None,
            pin_mm=last[drone.id].pin_mm if drone.id in last else None,
            pin_at=last[drone.id].at if drone.id in last else None,
        )
        for drone in drones
    ]
