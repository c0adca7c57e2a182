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
from canebench.bench.acts.ledger import named, reed_numbered
from canebench.care.cautions import Caution, Occasion, cautions_for
from canebench.care.quarantine import REST_H, MouthTest, standing
from canebench.care.strain import within_ceiling
from canebench.fitting.balance import Deviation, balance_of
from canebench.reeds import eases
from canebench.reeds.choice import Candidate, Choice, choose
from canebench.reeds.strength import BY_MOUTH_KPA, MOMENTS, Strength, against
from canebench.store.records import (
    EaseRecord,
    LotRecord,
    MouthTestRecord,
    PitchRecord,
    PlayerRecord,
    PlayRecord,
    ReedRecord,
    StrengthRecord,
    TakeRecord,
)
from canebench.store.values import written

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader
    from canebench.store.tables import Value

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
        row: dict[str, Value] = {"reed_id": reed.id, "at": act.at, "by_mouth": by_mouth}
        for moment, reading in readings.items():
            row |= {f"{moment}_kpa": reading.kpa, f"{moment}_sd_kpa": _GAUGE_SD_KPA}
            row["given_unit"] = reading.unit.value
        person = None if player is None else named(act, PlayerRecord, player)
        row["player_id"] = None if person is None else person.id
        row["than_reed_id"] = None if than is None else reed_numbered(act, than).id
        act.insert("strengths", row)
    cautions = cautions_for(Occasion.GRADE_STRENGTH)
    playing = readings.get("playing") or readings.get("onset")
    past = None
    if playing is not None and person is not None and person.ceiling_kpa is not None:
        past = within_ceiling(playing.kpa, person.ceiling_kpa)
    return ReedDone(
        said=f"The strength of reed {number} is written down.",
        cautions=(*((past,) if past else ()), *cautions),
    )


def ease_reed(ledger: Ledger, number: str, *, how: str, who: str, remarks: str | None = None) -> ReedDone:
    """A pinch (counted for life) or another way of easing."""
    with ledger.act("ease", who=who, said=f"eased reed {number} ({how})") as act:
        reed = reed_numbered(act, number)
        act.insert("eases", {"reed_id": reed.id, "at": act.at, "how": how, "remarks": remarks})
        pinches = act.count(EaseRecord, {"reed_id": reed.id, "how": "pinch"})
    return ReedDone(said=f"Reed {number}: {eases.said(pinches)}", cautions=cautions_for(Occasion.PINCH))


def play_reed(
    ledger: Ledger, number: str, *, minutes: float, who: str, player: str | None = None, **told: Value
) -> ReedDone:
    """Minutes of playing; `told` are further columns: level_dba, room_degc, room_rh, remarks."""
    with ledger.act("play", who=who, said=f"played reed {number} for {minutes:g} min") as act:
        reed = reed_numbered(act, number)
        if player is not None:
            told["player_id"] = named(act, PlayerRecord, player).id
        act.insert("plays", {"reed_id": reed.id, "at": act.at, "minutes": minutes, **told})
        spells = act.rows(PlayRecord, {"reed_id": reed.id})
    total = sum(spell.minutes for spell in spells)
    return ReedDone(
        said=f"Reed {number}: {total:g} minutes in {len(spells)} spells.",
        cautions=cautions_for(Occasion.PLAY_ALONE),
    )


def rest_reed(ledger: Ledger, number: str, *, player: str, who: str, rest_h: float = REST_H) -> ReedDone:
    """A mouth has tested this reed: it rests before another mouth may."""
    if not math.isfinite(rest_h) or not 0 < rest_h <= 24 * 60:
        raise InputError(field="rest", given=f"{rest_h:g} h", allowed="from 1 hour to 60 days is usual")
    with ledger.act("rest", who=who, said=f"reed {number} was mouth-tested by {player}") as act:
        reed = reed_numbered(act, number)
        person = named(act, PlayerRecord, player)
        until = datetime.fromisoformat(act.at) + timedelta(hours=rest_h)
        act.insert(
            "mouth_tests",
            {"reed_id": reed.id, "player_id": person.id, "at": act.at, "rests_until": written(until)},
        )
        tests = _mouth_tests(act, reed)
    now = standing(
        tests, reed=number, player="another player", now=datetime.fromisoformat(act.at), rest_h=rest_h
    )
    return ReedDone(said=now.say, cautions=cautions_for(Occasion.MOUTH_TEST))


def choose_for(ledger: Ledger, player: str, *, lot: str | None = None) -> list[Choice]:
    """The reeds of a lot, or all that are not retired, judged for a player now."""
    with ledger.reading() as reader:
        person = named(reader, PlayerRecord, player)
        blows, ceiling = person.blows_kpa, person.ceiling_kpa
        if blows is None:
            raise InputError(
                field=f"player {player}",
                given="no strength",
                allowed="what the player blows now is needed: canebench player NAME --blows '28 inH2O'",
            )
        where: dict[str, Value] = {} if lot is None else {"lot_id": named(reader, LotRecord, lot).id}
        reeds = [row for row in reader.rows(ReedRecord, where) if row.state != "retired"]
        candidates = [
            candidate
            for start in range(0, len(reeds), _AT_ONCE)
            for candidate in _candidates(reader, reeds[start : start + _AT_ONCE])
        ]
    return choose(candidates, blows_kpa=blows, ceiling_kpa=ceiling)


def _candidates(reader: Reader, reeds: Sequence[ReedRecord]) -> list[Candidate]:
    """What the ledger knows of reeds: their strength, and balance and pitch in the newest take."""
    ids = [reed.id for reed in reeds]
    strengths = read_strengths(reader, ids)
    takes = {take.reed_id: take for take in reader.newest_of_many(TakeRecord, "reed_id", ids, order="at")}
    pitches = pitches_of(reader, takes.values())
    found = []
    for reed in reeds:
        known = Candidate(number=reed.number, playing_kpa=playing_kpa(strengths, reed.id))
        take = takes.get(reed.id)
        found.append(known if take is None else _with_balance(known, take, pitches[take.id]))
    return found


def pitches_of(reader: Reader, takes: Iterable[TakeRecord]) -> dict[int, list[PitchRecord]]:
    """The pitches of each of these takes."""
    found: dict[int, list[PitchRecord]] = {take.id: [] for take in takes}
    for pitch in reader.of_many(PitchRecord, "take_id", list(found)):
        found[pitch.take_id].append(pitch)
    return found


def _with_balance(known: Candidate, take: TakeRecord, pitches: Sequence[PitchRecord]) -> Candidate:
    try:
        scale = scale_named(take.scale)
    except UnknownNameError:
        # A scale of another bench: that take says nothing here, the reed's strength still does.
        return known
    if take.reference_hz is None:
        return known
    deviations = {
        pitch.note: Deviation(
            cents=hz_to_cents(pitch.hz, take.reference_hz * scale.ratios[pitch.note]),
            sd_cents=math.inf if pitch.repeat_sd_cents is None else pitch.repeat_sd_cents,
            interval_cents=scale.cents(pitch.note),
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
        pitch_cents=balance.height_cents.value if take.reference == "fixed" else None,
    )


def read_strengths(reader: Reader, reed_ids: Sequence[int]) -> dict[int, list[StrengthRecord]]:
    """Readings of these reeds, oldest first, and of those that they were compared with by mouth."""
    found: dict[int, list[StrengthRecord]] = {}
    wanted = list(reed_ids)
    for _ in range(_COMPARED + 1):
        found |= {reed_id: [] for reed_id in wanted}
        for row in reader.of_many(StrengthRecord, "reed_id", wanted, order="at"):
            found[row.reed_id].append(row)
        named_too = {row.than_reed_id for reed_id in wanted for row in found[reed_id]}
        wanted = [one for one in named_too if one is not None and one not in found]
    return found


def playing_kpa(
    strengths: Mapping[int, Sequence[StrengthRecord]], reed_id: int, compared: int = 0
) -> Uncertain | None:
    """The newest reading that tells it; by mouth through the reed it was compared with."""
    for row in reversed(strengths.get(reed_id, [])):
        told = {moment: Uncertain(value=kpa, sd=sd) for moment, (kpa, sd) in row.pressures_kpa.items()}
        if told and (found := Strength(**told).playing_kpa) is not None:
            return found
        if row.by_mouth is not None and row.than_reed_id is not None and compared < _COMPARED:
            other = playing_kpa(strengths, row.than_reed_id, compared + 1)
            if other is not None:
                return against(other, row.by_mouth)
    return None


def _mouth_tests(reader: Reader, reed: ReedRecord) -> list[MouthTest]:
    tests = reader.rows(MouthTestRecord, {"reed_id": reed.id}, order="at")
    players = reader.by_id(PlayerRecord, (test.player_id for test in tests))
    return [
        MouthTest(
            reed=reed.number,
            player=players[test.player_id].name if test.player_id in players else "someone",
            at=datetime.fromisoformat(test.at),
        )
        for test in tests
    ]
