"""The first reeds of many, found without reading all, against a reckoning by hand of every reed.

The reckoning has its own formulas and its own copy of what the ledger was told. Each of its rules is left out
once: where that changed nothing, the ledgers would not test it.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

import pytest

from canebench.base.scales import scale_named
from canebench.bench.acts.reeds import choose_reeds
from canebench.bench.acts.reeds.choose_reeds import Chosen, choose_for
from canebench.reeds import best_first
from canebench.store.records import EaseRecord, StrengthRecord, TakeRecord
from canebench.store.values import written

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.reeds.choice import Choice
    from canebench.store.ledger import Ledger
    from canebench.store.tables import Value
    from canebench.store.writer import Writer
    from support.ledgers import Clock

_REEDS: Final = 48
_SEEDS: Final = range(6)
#: What the player blows, and must not blow past, kPa.
_BLOWS, _CEILING = 6.5, 8.0
#: A scale that the bench has, and one that it does not.
_SCALES: Final = ("harmonic", "harmonic", "harmonic", "of another bench")
_HEARD: Final = (
    ("low A", "high A"),
    ("low A", "E", "high A"),
    ("low A", "C", "D", "E", "high A"),
    ("E", "C"),
)
_MOUTH: Final = {"same": (0.0, 0.3), "a little stronger": (0.5, 0.4)}
#: Every rule by which a reed comes before another, or not.
_RULES: Final = (
    "not offered",
    "strength unknown",
    "ceiling",
    "eased since",
    "owner",
    "owner in the bin",
    "past the most",
    "rests",
    "strength",
    "sure",
    "age",
    "whole days",
    "pinches",
    "octave",
    "rest",
    "pitch",
    "fixed",
    "eased after the take",
    "newest take",
    "newest reading",
    "scale",
    "by mouth",
    "numbers as people count",
)


@dataclass
class _Reading:
    at: datetime
    playing: float | None = None
    sd: float | None = None
    onset: float | None = None
    choke: float | None = None
    by_mouth: str | None = None
    than: int | None = None


@dataclass
class _Take:
    at: datetime
    scale: str
    reference: str
    reference_hz: float | None
    hz: dict[str, float]


@dataclass
class _Reed:
    number: str
    state: str
    owner: str | None
    readings: list[_Reading] = field(default_factory=list)
    eases: list[tuple[datetime, str]] = field(default_factory=list)
    takes: list[_Take] = field(default_factory=list)
    rests: list[tuple[str, datetime]] = field(default_factory=list)


def _told(seed: int, now: datetime) -> list[_Reed]:
    """What a ledger is told of its reeds: few times and few pressures, so that much is alike."""
    chance = random.Random(seed)  # noqa: S311
    times = [now - timedelta(days=days) for days in (0.1, 0.4, 3.0, 3.6, 20.0, 90.0, 400.0)]
    reeds = []
    for n in range(_REEDS):
        reed = _Reed(
            number=chance.choice(("", "", "a")) + str(n + 1),
            state=chance.choice(("new", "new", "settled", "spare", "on trial", "retired", "set aside")),
            owner=chance.choice((None, None, None, None, "Isla", "Effie", "Morag")),
            eases=[
                (chance.choice(times), chance.choice(("pinch", "pinch", "other")))
                for _ in range(chance.choice((0, 0, 0, 1, 1, 5)))
            ],
            rests=[
                (chance.choice(("Isla", "Effie")), now + timedelta(hours=chance.choice((-5, 30))))
                for _ in range(chance.choice((0, 0, 0, 1, 2)))
            ],
        )
        for _ in range(chance.choice((0, 1, 1, 2, 3))):
            at = chance.choice(times)
            reading = _Reading(at=at, playing=chance.choice((6.6, 7.0, 7.1, 7.2, 7.6, 8.0, 8.2)))
            kind = chance.random()
            if kind < 0.15:
                reading = _Reading(at=at, onset=chance.choice((6.0, 6.5)), choke=chance.choice((7.0, 8.5)))
            elif kind < 0.3:
                reading = _Reading(at=at, onset=6.0)
            elif kind < 0.4 and n >= 5:
                reading = _Reading(at=at, by_mouth=chance.choice(list(_MOUTH)), than=chance.randrange(5))
            elif kind < 0.8:
                reading = replace(reading, sd=chance.choice((0.05, 0.3)))
            reed.readings.append(reading)
        for _ in range(chance.choice((0, 1, 2))):
            scale = scale_named("harmonic")
            notes = chance.choice(_HEARD)
            reed.takes.append(
                _Take(
                    at=chance.choice(times),
                    scale=chance.choice(_SCALES),
                    reference=chance.choice(("fixed", "fixed", "drones", "low-a")),
                    reference_hz=chance.choice((475.0, 475.0, 475.0, 475.0, None)),
                    hz={
                        note: 475.0 * scale.ratios[note] * 2 ** (chance.choice((-9, -4, 0, 3, 8)) / 1200)
                        for note in notes
                    },
                )
            )
        reeds.append(reed)
    return reeds


def _write(ledger: Ledger, reeds: list[_Reed], now: datetime) -> None:
    with ledger.act("x", who="Ailsa", said="x") as act:
        people = {
            name: act.insert("players", {"name": name, "blows_kpa": _BLOWS, "ceiling_kpa": _CEILING})
            for name in ("Isla", "Effie", "Morag")
        }
        rows = [
            act.insert(
                "reeds",
                {
                    "number": reed.number,
                    "state": reed.state,
                    "state_since": act.at,
                    "player_id": None if reed.owner is None else people[reed.owner],
                },
            )
            for reed in reeds
        ]
        for row, reed in zip(rows, reeds, strict=True):
            _write_reed(act, row, reed, rows, people, now)
    # No act leaves a reed to an owner in the bin; a ledger that another wrote may.
    with ledger.database.write() as connection:
        connection.run("UPDATE players SET removed_at = ? WHERE name = ?", [written(now), "Morag"])


def _write_reed(
    act: Writer, row: int, reed: _Reed, rows: list[int], people: dict[str, int], now: datetime
) -> None:
    of: dict[str, Value] = {"reed_id": row}
    for one in reed.readings:
        pressures: dict[str, Value] = {
            "playing_kpa": one.playing,
            "playing_sd_kpa": one.sd,
            "onset_kpa": one.onset,
        }
        mouth: dict[str, Value] = {
            "choke_kpa": one.choke,
            "by_mouth": one.by_mouth,
            "than_reed_id": None if one.than is None else rows[one.than],
        }
        act.insert("strengths", {**of, "at": written(one.at), **pressures, **mouth})
    for at, how in reed.eases:
        act.insert("eases", {**of, "at": written(at), "how": how})
    for player, until in reed.rests:
        mouthed: dict[str, Value] = {"player_id": people[player], "at": written(now - timedelta(hours=60))}
        act.insert("mouth_tests", {**of, **mouthed, "rests_until": written(until)})
    for take in reed.takes:
        against: dict[str, Value] = {
            "reference": take.reference,
            "reference_hz": take.reference_hz,
            "scale": take.scale,
        }
        sounded = {**of, **against, "at": written(take.at), "origin": "x.wav", "source": "recording"}
        take_id = act.insert("takes", sounded)
        for note, hz in take.hz.items():
            act.insert("pitches", {"take_id": take_id, "note": note, "hz": hz})
    # What lies in the bin tells nothing.
    gone = written(now - timedelta(minutes=5))
    strength = act.insert("strengths", {**of, "at": gone, "playing_kpa": 7.1})
    act.remove(act.row(StrengthRecord, strength))
    act.remove(act.row(EaseRecord, act.insert("eases", {**of, "at": gone, "how": "pinch"})))
    heard = {**of, "at": gone, "origin": "x.wav", "source": "recording", "scale": "harmonic"}
    act.remove(act.row(TakeRecord, act.insert("takes", {**heard, "reference": "fixed"})))


def _eased(reed: _Reed, since: datetime, until: datetime | None = None) -> bool:
    return any(at > since and (until is None or at < until) for at, _ in reed.eases)


def _strength(
    reeds: list[_Reed], reed: _Reed, asked: datetime | None, without: str
) -> tuple[float, float, datetime, bool] | None:
    """Playing pressure, its standard uncertainty, when it was read, and whether the reed was eased since."""
    rows = sorted(reed.readings, key=lambda one: one.at)
    if without == "newest reading":
        rows.reverse()
    then = [one for one in rows if asked is None or one.at <= asked]
    for one in [*then[::-1], *rows[len(then) :]]:
        since, until = (one.at, asked) if asked is None else (min(one.at, asked), max(one.at, asked))
        eased = _eased(reed, since, until)
        if one.playing is not None:
            return one.playing, 0.12 if one.sd is None else one.sd, one.at, eased
        if one.onset is not None and one.choke is not None:
            width = one.choke - one.onset
            return one.onset + width / 2, math.hypot(0.12, width / 6), one.at, eased
        if one.by_mouth is not None and one.than is not None and without != "by mouth":
            other = _strength(reeds, reeds[one.than], one.at, without)
            if other is not None:
                more, sd = _MOUTH[one.by_mouth]
                return other[0] + more, math.hypot(sd, other[1]), one.at, eased or other[3]
    return None


def _off_pitch(reed: _Reed, without: str) -> float:
    """What the newest take since the reed was last eased puts on its score."""
    takes = sorted(reed.takes, key=lambda one: one.at)
    if not takes:
        return 0.0
    take = takes[0 if without == "newest take" else -1]
    if without != "eased after the take" and _eased(reed, take.at):
        return 0.0
    known = take.scale == "harmonic" or without == "scale"
    if not known or take.reference_hz is None or not {"low A", "high A"} <= take.hz.keys():
        return 0.0
    ratios = scale_named("harmonic").ratios
    off = {note: 1200 * math.log2(hz / (take.reference_hz * ratios[note])) for note, hz in take.hz.items()}
    octave, height = off["high A"] - off["low A"], (off["high A"] + off["low A"]) / 2
    rest = max(
        (
            abs(cents - off["low A"] - octave * math.log2(ratios[note]) / math.log2(ratios["high A"]))
            for note, cents in off.items()
            if note not in ("low A", "high A")
        ),
        default=0.0,
    )
    terms = {"octave": (octave / 10) ** 2, "rest": (rest / 10) ** 2}
    if take.reference == "fixed" or without == "fixed":
        terms["pitch"] = (height / 15) ** 2
    return sum(term for name, term in terms.items() if name != without)


@dataclass(frozen=True)
class _Place:
    number: str
    offered: bool
    score: float | None
    ties: tuple[str, ...] = ()


def _by_hand(reeds: list[_Reed], now: datetime, without: str = "") -> list[_Place]:
    """Every reed's place for Isla, best first, one rule left out."""

    def key(reed: _Reed) -> tuple[tuple[bool, ...], float, int, str]:
        known = _strength(reeds, reed, None, without)
        pinches = sum(how == "pinch" for _, how in reed.eases)
        owned = reed.owner not in (None, "Isla", *(() if without == "owner in the bin" else ("Morag",)))
        past = known is not None and known[0] > _CEILING
        rules = {
            "not offered": reed.state in ("retired", "set aside"),
            "strength unknown": known is None,
            "ceiling": past,
            "eased since": known is not None and known[3],
            "owner": owned,
            "past the most": pinches > 3,
            "rests": any(player != "Isla" and until > now for player, until in reed.rests),
        }
        behind = tuple(holds for name, holds in rules.items() if name != without)
        score = 0.0
        if known is not None and reed.state not in ("retired", "set aside"):
            playing, sd, at, _ = known
            days = (now - at).total_seconds() / 86400
            terms = {
                "strength": (playing - _BLOWS - 0.6) ** 2,
                "sure": sd**2,
                "age": 0.2**2 * (days if without == "whole days" else math.floor(days)) / 30,
            }
            score = sum(term for name, term in terms.items() if name != without) / 0.4**2
            score += 0.0 if without == "pinches" else (pinches / 3) ** 2
            score = math.inf if past else score + _off_pitch(reed, without)
        # Whatever differs by rounding alone is one score.
        length = 0 if without == "numbers as people count" else len(reed.number)
        return behind, round(score, 9), length, reed.number

    def scored(reed: _Reed) -> bool:
        known = _strength(reeds, reed, None, without)
        return known is not None and reed.state not in ("retired", "set aside")

    ordered = sorted(((key(reed), reed) for reed in reeds), key=lambda pair: pair[0])
    found = []
    for (behind, score, *_), reed in ordered:
        ties = tuple(
            other.number
            for (other_behind, other_score, *_), other in ordered
            if other is not reed and behind == other_behind and abs(other_score - score) < 0.1 - 1e-9
        )
        told = scored(reed)
        tied = ties if told and math.isfinite(score) else ()
        offered = reed.state not in ("retired", "set aside")
        found.append(_Place(reed.number, offered, score if told else None, tied))
    return found


def _places(choices: list[Choice]) -> list[_Place]:
    return [
        _Place(
            one.number, one.offered, None if one.score is None else round(one.score, 9), tuple(one.tied_with)
        )
        for one in choices
    ]


@pytest.fixture(params=[(2_000, 50, 250, 250), (5, 1, 3, 4)], ids=["as it is", "few at once"])
def at_once(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """However many are read at once."""
    read, spare, heard, near = request.param
    monkeypatch.setattr(choose_reeds, "_AT_ONCE", read)
    monkeypatch.setattr(choose_reeds, "_SPARE", spare)
    monkeypatch.setattr(choose_reeds, "_NEAR", near)
    monkeypatch.setattr(best_first, "_AT_ONCE", heard)


@pytest.mark.usefixtures("at_once")
@pytest.mark.parametrize("seed", _SEEDS)
def test_the_first_are_those_of_a_reckoning_by_hand(ledger: Ledger, clock: Clock, seed: int) -> None:
    now = clock.now
    reeds = _told(seed, now)
    _write(ledger, reeds, now)
    clock.now = now
    everything = choose_for(ledger, "Isla")
    assert [*_places(everything.choices), *_places(everything.apart)] == _by_hand(reeds, now)
    assert (everything.total, everything.total_apart) == (len(everything.choices), len(everything.apart))
    for first in (0, 1, 2, 7, 20, _REEDS + 1):
        some = choose_for(ledger, "Isla", first=first, named=2)
        assert some == Chosen(
            choices=[_named(one) for one in everything.choices[:first]],
            total=everything.total,
            apart=everything.apart[:first],
            total_apart=everything.total_apart,
        )


def _named(one: Choice) -> Choice:
    """As it is told where two of its ties are named."""
    assert one.ties == len(one.tied_with)
    return replace(one, tied_with=one.tied_with[:2])


def test_what_cannot_come_first_is_neither_read_nor_heard(
    ledger: Ledger, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three reeds suit, the other free ones do not; some are another's. Control: for all, all are read."""
    now = clock.now
    reeds = [
        _Reed(
            str(n),
            "new",
            None if n < 40 else "Effie",
            readings=[_Reading(now, playing=7.1 if n < 3 else 5.0)],
        )
        for n in range(60)
    ]
    _write(ledger, reeds, now)
    monkeypatch.setattr(choose_reeds, "_NEAR", 10)
    monkeypatch.setattr(best_first, "_AT_ONCE", 4)
    counted: list[int] = []
    for name in ("_part", "heard"):
        own = getattr(choose_reeds._Known, name)

        def counting(known: object, some: list[object], own: Callable[..., object] = own) -> object:
            counted.append(len(some))
            return own(known, some)

        monkeypatch.setattr(choose_reeds._Known, name, counting)
    assert [one.number for one in choose_for(ledger, "Isla", first=3).choices] == ["0", "1", "2"]
    assert counted == [10, 4]
    counted.clear()
    assert len(choose_for(ledger, "Isla").choices) == 60
    assert sum(counted) == 120


@pytest.mark.parametrize("rule", _RULES)
def test_each_rule_would_be_missed(clock: Clock, rule: str) -> None:
    """Control: without it the reckoning says something else, in one of the ledgers at least."""
    now = clock.now
    told = [_told(seed, now) for seed in _SEEDS]
    assert any(_by_hand(reeds, now) != _by_hand(reeds, now, without=rule) for reeds in told)
