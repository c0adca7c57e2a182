"""What happens to a reed from day to day: strength, a pinch, playing, a mouth and its rest; who it suits.

Guarded by `tests/doors/test_ledger_commands.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.pressure import parse_pressure
from canebench.base.scales import scale_named
from canebench.base.uncertain import Uncertain
from canebench.base.units import hz_to_cents
from canebench.bench.acts.ledger import named, number_of, reed_numbered
from canebench.care.cautions import Caution, Occasion, cautions_for
from canebench.care.quarantine import REST_H, MouthTest, standing
from canebench.care.strain import within_ceiling
from canebench.fitting.balance import Deviation, balance_of
from canebench.reeds import eases
from canebench.reeds.choice import Candidate, Choice, choose
from canebench.reeds.strength import BY_MOUTH_KPA, MOMENTS, Strength, against
from canebench.store.values import written

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader
    from canebench.store.tables import Row, Value

_GAUGE_SD_KPA: Final = 0.12
#: So many reeds may lie between one and the gauge when they are compared by mouth, one after the other.
_COMPARED: Final = 5
#: So many reeds are read at once.
_AT_ONCE: Final = 1_000


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedDone:
    """What was written down, in words, and the cautions that belong to it."""

    said: str
    cautions: tuple[Caution, ...] = ()


def log_strength(
    ledger: Ledger,
    number: str,
    pressures: Mapping[str, str],
    *,
    who: str,
    player: str | None = None,
    by_mouth: str | None = None,
    than: str | None = None,
) -> ReedDone:
    """A strength reading: pressures as typed ("30 inH2O"), or by mouth against another reed."""
    readings = {
        moment: parse_pressure(text, field=f"{moment} pressure") for moment, text in pressures.items()
    }
    unknown = [moment for moment in readings if moment not in MOMENTS]
    if unknown:
        raise InputError(field="pressure", given=unknown[0], allowed=f"one of {', '.join(MOMENTS)}")
    if (by_mouth is None) != (than is None):
        raise InputError(
            field="strength by mouth", given="half of it", allowed="both how it compares and with which reed"
        )
    if not readings and by_mouth is None:
        raise InputError(field="strength", given="nothing", allowed="a pressure, or how it compares by mouth")
    if by_mouth is not None and by_mouth not in BY_MOUTH_KPA:
        against(Uncertain(value=5.0, sd=None), by_mouth)
    if readings:
        Strength(**{m: Uncertain(value=r.kpa, sd=_GAUGE_SD_KPA) for m, r in readings.items()})
    with ledger.act("strength", who=who, said=f"logged the strength of reed {number}") as act:
        reed = reed_numbered(act, number)
        row: dict[str, Value] = {"reed_id": reed["id"], "at": act.at, "by_mouth": by_mouth}
        for moment, reading in readings.items():
            row |= {f"{moment}_kpa": reading.kpa, f"{moment}_sd_kpa": _GAUGE_SD_KPA}
            row["given_unit"] = reading.unit.value
        row["player_id"] = None if player is None else named(act, "players", player)["id"]
        row["than_reed_id"] = None if than is None else reed_numbered(act, than)["id"]
        act.insert("strengths", row)
        ceiling = None if player is None else named(act, "players", player)["ceiling_kpa"]
    cautions = cautions_for(Occasion.GRADE_STRENGTH)
    playing = readings.get("playing") or readings.get("onset")
    past = None
    if playing is not None and isinstance(ceiling, float):
        past = within_ceiling(playing.kpa, ceiling)
    return ReedDone(
        said=f"The strength of reed {number} is written down.",
        cautions=(*((past,) if past else ()), *cautions),
    )


def ease_reed(ledger: Ledger, number: str, *, how: str, who: str, remarks: str | None = None) -> ReedDone:
    """A pinch (counted for life) or another way of easing."""
    with ledger.act("ease", who=who, said=f"eased reed {number} ({how})") as act:
        reed = reed_numbered(act, number)
        act.insert("eases", {"reed_id": reed["id"], "at": act.at, "how": how, "remarks": remarks})
        rows = act.rows("eases", {"reed_id": reed["id"]})
    pinches = sum(row["how"] == "pinch" for row in rows)
    return ReedDone(said=f"Reed {number}: {eases.said(pinches)}", cautions=cautions_for(Occasion.PINCH))


def play_reed(ledger: Ledger, number: str, *, minutes: float, who: str, **told: Value) -> ReedDone:
    """Minutes of playing; `told` are further columns: player_id, level_dba, room_degc, room_rh, remarks."""
    with ledger.act("play", who=who, said=f"played reed {number} for {minutes:g} min") as act:
        reed = reed_numbered(act, number)
        act.insert("plays", {"reed_id": reed["id"], "at": act.at, "minutes": minutes, **told})
        rows = act.rows("plays", {"reed_id": reed["id"]})
    total = sum(float(row["minutes"] or 0.0) for row in rows)
    return ReedDone(
        said=f"Reed {number}: {total:g} minutes in {len(rows)} spells.",
        cautions=cautions_for(Occasion.PLAY_ALONE),
    )


def rest_reed(ledger: Ledger, number: str, *, player: str, who: str, rest_h: float = REST_H) -> ReedDone:
    """A mouth has tested this reed: it rests before another mouth may."""
    if not math.isfinite(rest_h) or not 0 < rest_h <= 24 * 60:
        raise InputError(field="rest", given=f"{rest_h:g} h", allowed="from 1 hour to 60 days is usual")
    with ledger.act("rest", who=who, said=f"reed {number} was mouth-tested by {player}") as act:
        reed = reed_numbered(act, number)
        person = named(act, "players", player)
        until = datetime.fromisoformat(act.at) + timedelta(hours=rest_h)
        act.insert(
            "mouth_tests",
            {"reed_id": reed["id"], "player_id": person["id"], "at": act.at, "rests_until": written(until)},
        )
        tests = _mouth_tests(act, reed)
    now = standing(
        tests, reed=number, player="another player", now=datetime.fromisoformat(act.at), rest_h=rest_h
    )
    return ReedDone(said=now.say, cautions=cautions_for(Occasion.MOUTH_TEST))


def choose_for(ledger: Ledger, player: str, *, lot: str | None = None) -> list[Choice]:
    """The reeds of a lot, or all that are not retired, judged for a player now."""
    with ledger.reading() as reader:
        person = named(reader, "players", player)
        blows = person["blows_kpa"]
        if not isinstance(blows, float):
            raise InputError(
                field=f"player {player}",
                given="no strength",
                allowed="what the player blows now is needed: canebench player NAME --blows '28 inH2O'",
            )
        ceiling = person["ceiling_kpa"]
        where: dict[str, Value] = {} if lot is None else {"lot_id": named(reader, "lots", lot)["id"]}
        reeds = [row for row in reader.rows("reeds", where) if row["state"] not in ("retired",)]
        candidates = [
            candidate
            for start in range(0, len(reeds), _AT_ONCE)
            for candidate in _candidates(reader, reeds[start : start + _AT_ONCE])
        ]
    return choose(candidates, blows_kpa=blows, ceiling_kpa=ceiling if isinstance(ceiling, float) else None)


def _candidates(reader: Reader, reeds: Sequence[Row]) -> list[Candidate]:
    """What the ledger knows of reeds: their strength, and balance and pitch in the newest take."""
    ids = [number_of(reed, "id") for reed in reeds]
    strengths = read_strengths(reader, ids)
    takes = {row["reed_id"]: row for row in reader.newest_of_many("takes", "reed_id", ids, order="at")}
    pitches: dict[Value, list[Row]] = {}
    for row in reader.of_many("pitches", "take_id", [take["id"] for take in takes.values()]):
        pitches.setdefault(row["take_id"], []).append(row)
    found = []
    for reed, reed_id in zip(reeds, ids, strict=True):
        known = Candidate(number=str(reed["number"]), playing_kpa=playing_kpa(strengths, reed_id))
        take = takes.get(reed_id)
        found.append(known if take is None else _with_balance(known, take, pitches.get(take["id"], [])))
    return found


def _with_balance(known: Candidate, take: Row, pitches: Sequence[Row]) -> Candidate:
    try:
        scale = scale_named(str(take["scale"]))
    except UnknownNameError:
        # A scale of another bench: that take says nothing here, the reed's strength still does.
        return known
    reference_hz = float(take["reference_hz"] or 0.0)
    deviations = {
        str(pitch["note"]): Deviation(
            cents=hz_to_cents(float(pitch["hz"] or 0.0), reference_hz * scale.ratios[str(pitch["note"])]),
            sd_cents=float(pitch["repeat_sd_cents"] or 0.0),
            interval_cents=scale.cents(str(pitch["note"])),
        )
        for pitch in pitches
    }
    balance = balance_of(deviations, reference_sd_cents=0.0)
    if balance is None:
        return known
    return Candidate(
        number=known.number,
        playing_kpa=known.playing_kpa,
        tilt_cents=balance.tilt_cents.value,
        worst_rest_cents=max((abs(rest.value) for rest in balance.rest_cents.values()), default=0.0),
        # Against its own low A or drones that follow it, a reed's pitch says nothing.
        pitch_cents=balance.height_cents.value if take["reference"] == "fixed" else None,
    )


def read_strengths(reader: Reader, reed_ids: Sequence[int]) -> dict[Value, list[Row]]:
    """Readings of these reeds, oldest first, and of those that they were compared with by mouth."""
    found: dict[Value, list[Row]] = {}
    wanted: list[Value] = list(reed_ids)
    for _ in range(_COMPARED + 1):
        found |= {reed_id: [] for reed_id in wanted}
        for row in reader.of_many("strengths", "reed_id", wanted, order="at"):
            found[row["reed_id"]].append(row)
        named_too = {row["than_reed_id"] for reed_id in wanted for row in found[reed_id]}
        wanted = [one for one in named_too if one is not None and one not in found]
    return found


def playing_kpa(
    strengths: Mapping[Value, Sequence[Row]], reed_id: Value, compared: int = 0
) -> Uncertain | None:
    """The newest reading that tells it; by mouth through the reed it was compared with."""
    for row in reversed(strengths.get(reed_id, [])):
        told = {
            moment: Uncertain(value=float(row[f"{moment}_kpa"] or 0.0), sd=_sd(row, moment))
            for moment in MOMENTS
            if row[f"{moment}_kpa"] is not None
        }
        if told and (found := Strength(**told).playing_kpa) is not None:
            return found
        if row["by_mouth"] is not None and row["than_reed_id"] is not None and compared < _COMPARED:
            other = playing_kpa(strengths, row["than_reed_id"], compared + 1)
            if other is not None:
                return against(other, str(row["by_mouth"]))
    return None


def _sd(row: Row, moment: str) -> float | None:
    value = row[f"{moment}_sd_kpa"]
    return float(value) if isinstance(value, (int, float)) else None


def _mouth_tests(reader: Reader, reed: Row) -> list[MouthTest]:
    players = {row["id"]: str(row["name"]) for row in reader.rows("players")}
    return [
        MouthTest(
            reed=str(reed["number"]),
            player=players.get(row["player_id"], "someone"),
            at=datetime.fromisoformat(str(row["at"])),
        )
        for row in reader.rows("mouth_tests", {"reed_id": reed["id"]}, order="at")
    ]
