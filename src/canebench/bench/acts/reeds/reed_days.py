"""What happens to a reed from day to day: strength, a pinch, playing, a mouth and its rest.

What is advised against, a pinch past the most or a reed that rests from another's mouth, is refused with the
reason; where one insists it is done, and written down as such. Guarded by
`tests/doors/test_ledger_commands.py`, `tests/doors/test_insist.py` and `tests/web/test_insist.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.pressure import GaugeReading, parse_pressure
from canebench.base.sizes import MINUS, Range
from canebench.base.uncertain import Uncertain
from canebench.bench.acts.band import unit_of, zone_of
from canebench.bench.acts.ledger import named, reed_numbered
from canebench.bench.acts.reeds.eased import check_pinch, pinches_in_life, write_pinch
from canebench.bench.acts.reeds.mouths import insisted_on, log_mouth, mouth_tests
from canebench.bench.acts.reeds.strengths import read_strengths
from canebench.care.cautions import Caution, Occasion, cautions_for
from canebench.care.quarantine import REST_H, standing
from canebench.care.strain import within_ceiling
from canebench.reeds import eases
from canebench.reeds.strength import MOMENTS, READ_KPA, Strength, against
from canebench.store.records import PlayerRecord, PlayRecord
from canebench.store.values import written

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.store.ledger import Ledger
    from canebench.store.records import ReedRecord
    from canebench.store.tables import Value
    from canebench.store.writer import Writer

#: How long a spell of playing may be: a day at most.
SPELL_MIN: Final = Range(
    low=0.0,
    high=1_440.0,
    usual=15.0,
    unit="min",
    slips=(MINUS, (1 / 60, "if that was seconds")),
)
#: A reading after a spell comes after it by the clock too: else its minutes would not count as played before.
READ_AFTER: Final = timedelta(milliseconds=1)


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
    insist: bool = False,
) -> ReedDone:
    """A strength reading: pressures as typed ("30 inH2O"), or by mouth against another reed.

    A player who is to have a reed that rests from another's mouth is refused, unless with `insist`.
    """
    felt = _felt(ledger, TypedStrength(pressures=pressures, by_mouth=by_mouth, than=than))
    if felt is None:
        raise InputError(field="strength", given="nothing", allowed="a pressure, or how it compares by mouth")
    note = _rest_note(ledger, number, player, insist=insist)
    said = f"logged the strength of reed {number}: {felt.said}{note}"
    with ledger.act("strength", who=who, said=said) as act:
        reed = reed_numbered(act, number)
        person = None if player is None else named(act, PlayerRecord, player)
        _write_felt(act, reed, felt, person)
    cautions = cautions_for(Occasion.GRADE_STRENGTH)
    playing = felt.readings.get("playing") or felt.readings.get("onset")
    past = _past_ceiling(None if playing is None else playing.kpa, person)
    return ReedDone(said=f"The strength of reed {number} is written down.", cautions=(*past, *cautions))


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedStrength:
    """How strong a reed is, as typed: pressures by their moment, or how it compares with the reed `than`."""

    pressures: Mapping[str, str] = field(default_factory=dict)
    by_mouth: str | None = None
    than: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Felt:
    """A strength as it was read: by gauge, or by mouth against the reed `than`."""

    readings: Mapping[str, GaugeReading] = field(default_factory=dict)
    by_mouth: str | None = None
    than: str | None = None

    @property
    def said(self) -> str:
        """In the gauge's own unit: "26 inH2O", "onset 20 inH2O, playing 26 inH2O"."""
        alone = self.readings.keys() == {"playing"}
        told = [
            f"{'' if alone else f'{moment} '}{one.value:g} {one.unit.value}"
            for moment, one in self.readings.items()
        ]
        mouth = f"by mouth {self.by_mouth}, against reed {self.than}"
        return ", ".join([*told, *([] if self.by_mouth is None else [mouth])])


def _felt(ledger: Ledger, typed: TypedStrength) -> _Felt | None:
    """A strength from what was typed, None where nothing was; an error where it cannot be."""
    with ledger.reading() as reader:
        unit = unit_of(reader)
    readings = {
        moment: parse_pressure(text, field=f"{moment} pressure", unit=unit)
        for moment, text in typed.pressures.items()
    }
    unknown = [moment for moment in readings if moment not in MOMENTS]
    if unknown:
        raise InputError(field="pressure", given=unknown[0], allowed=f"one of {', '.join(MOMENTS)}")
    check_comparison(typed.by_mouth, typed.than)
    if readings:
        Strength(**{m: Uncertain(value=r.kpa, sd=READ_KPA) for m, r in readings.items()})
    elif typed.by_mouth is None:
        return None
    return _Felt(readings=readings, by_mouth=typed.by_mouth, than=typed.than)


def _write_felt(act: Writer, reed: ReedRecord, felt: _Felt, person: PlayerRecord | None) -> None:
    """A strength in an act, of now."""
    row: dict[str, Value] = {"reed_id": reed.id, "at": act.at, "by_mouth": felt.by_mouth}
    for moment, reading in felt.readings.items():
        row |= {f"{moment}_kpa": reading.kpa, f"{moment}_sd_kpa": READ_KPA}
        row["given_unit"] = reading.unit.value
    row["player_id"] = None if person is None else person.id
    row["than_reed_id"] = None if felt.than is None else reed_numbered(act, felt.than).id
    act.insert("strengths", row)


def check_comparison(by_mouth: str | None, than: str | None) -> None:
    """An error where half of a comparison by mouth is missing, or its words are none of ours."""
    if (by_mouth is None) != (than is None):
        raise InputError(
            field="strength by mouth", given="half of it", allowed="both how it compares and with which reed"
        )
    if by_mouth is not None:
        against(Uncertain(value=5.0, sd=None), by_mouth)


def _rest_note(ledger: Ledger, number: str, player: str | None, *, insist: bool) -> str:
    """What an act adds where a reed that rests is had all the same; an error where nobody insists."""
    with ledger.reading() as reader:
        reed = reed_numbered(reader, number)
        return insisted_on(reader, reed, player, ledger.clock(), insist=insist)


def ease_reed(
    ledger: Ledger, number: str, *, how: str, who: str, remarks: str | None = None, insist: bool = False
) -> ReedDone:
    """A pinch (counted for life) or another way of easing.

    A pinch past the most in a life is refused, unless with `insist`.
    """
    note = ""
    with ledger.reading() as reader:
        reed = reed_numbered(reader, number)
        if how == "pinch":
            note = check_pinch(reader, reed.id, insist=insist)
    with ledger.act("ease", who=who, said=f"eased reed {number} ({how}){note}") as act:
        reed = reed_numbered(act, number)
        if how == "pinch":
            write_pinch(act, reed.id, insist=insist, remarks=remarks)
        else:
            act.insert("eases", {"reed_id": reed.id, "at": act.at, "how": how, "remarks": remarks})
        pinches = pinches_in_life(act, reed.id)
    return ReedDone(said=f"Reed {number}: {eases.said(pinches)}", cautions=cautions_for(Occasion.PINCH))


def play_reed(
    ledger: Ledger,
    number: str,
    *,
    minutes: float,
    who: str,
    player: str | None = None,
    after: TypedStrength | None = None,
    insist: bool = False,
    **told: Value,
) -> ReedDone:
    """Minutes of playing, and in the same act how strong the reed is `after` them, where that is told.

    `told` are further columns: level_dba, room_degc, room_rh, remarks. A player who is to have a reed that
    rests from another's mouth is refused, unless with `insist`.
    """
    SPELL_MIN.check("minutes", minutes)
    felt = None if after is None else _felt(ledger, after)
    note = _rest_note(ledger, number, player, insist=insist)
    said = f"played reed {number} for {minutes:g} min{_after_said(felt)}{note}"
    with ledger.act("play", who=who, said=said) as act:
        reed = reed_numbered(act, number)
        person = None if player is None else named(act, PlayerRecord, player)
        told["player_id"] = None if person is None else person.id
        at = act.at if felt is None else written(datetime.fromisoformat(act.at) - READ_AFTER)
        act.insert("plays", {"reed_id": reed.id, "at": at, "minutes": minutes, **told})
        if felt is not None:
            _write_felt(act, reed, felt, person)
        spells = act.rows(PlayRecord, {"reed_id": reed.id})
        strength = read_strengths(act, [reed.id]).known(reed.id)
    total = sum(spell.minutes for spell in spells)
    cautions = (
        *_past_ceiling(None if strength is None else strength.kpa.value, person),
        *cautions_for(Occasion.PLAY_ALONE),
        *(() if felt is None else cautions_for(Occasion.GRADE_STRENGTH)),
    )
    return ReedDone(
        said=f"Reed {number}: {total:g} minutes in {spells_said(len(spells))}{_after_said(felt)}.",
        cautions=tuple(dict.fromkeys(cautions)),
    )


def spells_said(count: int) -> str:
    """So many spells of playing."""
    return f"{count} {'spell' if count == 1 else 'spells'}"


def _after_said(felt: _Felt | None) -> str:
    if felt is None:
        return ""
    return f", plays at {felt.said} after" if felt.readings else f", after it {felt.said}"


def _past_ceiling(kpa: float | None, person: PlayerRecord | None) -> tuple[Caution, ...]:
    """What to say where a reed asks for more than the ceiling of who plays it, whatever was insisted on."""
    if kpa is None or person is None or person.ceiling_kpa is None:
        return ()
    past = within_ceiling(kpa, person.ceiling_kpa)
    return () if past is None else (past,)


def rest_reed(ledger: Ledger, number: str, *, player: str, who: str, rest_h: float = REST_H) -> ReedDone:
    """A mouth has tested this reed: it rests before another mouth may, 48 h at least."""
    with ledger.act("rest", who=who, said=f"reed {number} was mouth-tested by {player}") as act:
        reed = reed_numbered(act, number)
        person = named(act, PlayerRecord, player)
        at = datetime.fromisoformat(act.at)
        log_mouth(act, reed, person, rest_h=rest_h)
        tests = mouth_tests(act, {reed.id: reed.number})[reed.id]
        here = at.astimezone(zone_of(act))
    now = standing(tests, reed=reed.number, player="another player", now=here)
    return ReedDone(said=now.say, cautions=cautions_for(Occasion.MOUTH_TEST))
