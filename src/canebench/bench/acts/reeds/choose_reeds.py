"""Which reeds suit a player now, by all that the ledger knows of them.

Guarded by `tests/doors/test_choose_command.py`, `tests/web/test_choose.py` and
`tests/store/test_choice_by_hand.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache, partial
from operator import itemgetter
from typing import TYPE_CHECKING, Final, NamedTuple

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.scales import scale_named
from canebench.base.units import hz_to_cents
from canebench.bench.acts.band import zone_of
from canebench.bench.acts.ledger import named as named_row
from canebench.bench.acts.reeds.mouths import mouth_tests
from canebench.bench.acts.reeds.strengths import Strengths, newest_read, strengths_now
from canebench.care.quarantine import rest_said, standing
from canebench.fitting.balance import POSTS, Deviation, balance_of
from canebench.reeds.best_first import Pool, best_first
from canebench.reeds.choice import Choice, worded
from canebench.reeds.ranking import Candidate, Rank, strength_score
from canebench.reeds.states import NOT_OFFERED, State
from canebench.store.records import LotRecord, PitchRecord, PlayerRecord, ReedRecord, TakeRecord

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from canebench.care.quarantine import MouthTest
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Among, Reader
    from canebench.store.tables import Value

#: So many reeds are read at once.
_AT_ONCE: Final = 2_000
#: So many are read on at once, of those that may be the next by their strength.
_NEAR: Final = 250
#: So many more than are wanted are read of those whose order is nearly known.
_SPARE: Final = 50
_DAY_S: Final = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """The first reeds for a player, best first, and the first of those offered to nobody; of how many."""

    choices: list[Choice]
    total: int
    apart: list[Choice]
    total_apart: int


#: What is read of every reed; no more is made of those that are not read on.
_COLUMNS: Final = ("id", "number", "state", "state_reason", "player_id")
_Reed = tuple[int, str, str, str | None, int | None]


class _Take(NamedTuple):
    id: int
    reed_id: int
    at: str
    scale: str
    reference: str
    reference_hz: float | None


def choose_for(
    ledger: Ledger,
    player: str,
    *,
    lot: str | None = None,
    first: int | None = None,
    named: int | None = None,
) -> Chosen:
    """The reeds of a lot, or all, judged for a player now; those that are offered to nobody apart.

    Of both the `first` alone, or all; to each so many of its ties are `named`, or all.
    """
    with ledger.reading() as reader:
        person = named_row(reader, PlayerRecord, player)
        blows, ceiling = person.blows_kpa, person.ceiling_kpa
        if blows is None:
            raise InputError(
                field=f"player {player}",
                given="no strength",
                allowed="what the player blows now is needed: canebench player NAME --blows '28 inH2O'",
            )
        where: dict[str, Value] = {} if lot is None else {"lot_id": named_row(reader, LotRecord, lot).id}
        known = _Known(reader, person, where, ledger.clock().astimezone(zone_of(reader)))

        def judged(*, offered: bool) -> list[Choice]:
            pools = known.pools(offered=offered, first=first)
            ranked = best_first(pools, known.heard, blows_kpa=blows, ceiling_kpa=ceiling, first=first)
            return worded(ranked, blows_kpa=blows, ceiling_kpa=ceiling, first=first, named=named)

        counts = reader.counts(ReedRecord, "state", where)
        apart = sum(counts.get(state.value, 0) for state in NOT_OFFERED)
        return Chosen(
            choices=judged(offered=True),
            total=sum(counts.values()) - apart,
            apart=judged(offered=False),
            total_apart=apart,
        )


@dataclass(slots=True, kw_only=True)
class _NumberedPart:
    """How far reeds were read in the order of their numbers: the last `number`, and if any may be left."""

    number: str
    size: int
    start: int = 0
    unread: bool = True


class _Known:
    """What the ledger knows of reeds: strength, mouths, owners; balance and pitch in the newest take."""

    def __init__(self, reader: Reader, person: PlayerRecord, where: dict[str, Value], now: datetime) -> None:
        self._reader, self._person, self._where, self._now = reader, person, where, now
        # A reed whose owner is in the bin is nobody's.
        players = reader.columns(PlayerRecord, ("id", "name"))
        self._owners = {row_id: name for row_id, name in players if row_id != person.id}
        self._ids: dict[str, int] = {}
        self._strengths = Strengths(readings={}, eases={})

    def pools(self, *, offered: bool, first: int | None) -> Iterator[Pool]:
        """Those that may be the player's before those of others; those without a score by their numbers."""
        for theirs in (False, True):
            least = Rank((not offered, False, False, False, theirs, False, False), 0.0, 0, "")
            states: Among = ("state", [state.value for state in NOT_OFFERED], not offered)
            among = (states, ("player_id", list(self._owners), theirs))
            if first is None:
                yield Pool(least, partial(self._all, among))
            elif offered:
                yield from self._by_strength(least, among)
            else:
                yield from self._by_number(least, among, first + _SPARE)

    def _by_strength(self, least: Rank, among: Sequence[Among]) -> Iterator[Pool]:
        """Those whose strength alone lets them stand first before the others."""
        scored: list[tuple[float, _Reed]] = []

        def look() -> list[Candidate]:
            scored.extend(sorted(self._at_best(self._reeds(among)), key=itemgetter(0)))
            return []

        yield Pool(least, look)
        for start in range(0, len(scored), _NEAR):
            part = scored[start : start + _NEAR]
            yield Pool(least._replace(score=part[0][0]), partial(self._part, [reed for _, reed in part]))

    def _at_best(self, reeds: Sequence[_Reed]) -> Iterator[tuple[float, _Reed]]:
        """The least score that each may have; past the ceiling, or without a strength, it has none."""
        blows = self._person.blows_kpa or 0.0
        ceiling = math.inf if self._person.ceiling_kpa is None else self._person.ceiling_kpa
        for start in range(0, len(reeds), _AT_ONCE):
            part = reeds[start : start + _AT_ONCE]
            newest = newest_read(self._reader, [row_id for row_id, *_ in part])
            for reed in part:
                at, kpa = newest.get(reed[0], ("", None))
                if kpa is None:
                    yield 0.0 if at else math.inf, reed
                elif kpa.value > ceiling:
                    yield math.inf, reed
                else:
                    yield strength_score(kpa, _days(at, self._now), blows_kpa=blows), reed

    def _by_number(self, least: Rank, among: Sequence[Among], size: int) -> Iterator[Pool]:
        part = _NumberedPart(number="", size=size)
        while part.unread:
            # None that is not read yet has a lesser number than the last that was.
            first = least._replace(length=len(part.number), number=part.number)
            yield Pool(first, partial(self._next, among, part))

    def _next(self, among: Sequence[Among], part: _NumberedPart) -> list[Candidate]:
        reeds = self._reeds(among, order="#number", limit=part.size, offset=part.start)
        part.start, part.unread = part.start + len(reeds), len(reeds) == part.size
        if reeds:
            part.number = reeds[-1][1]
        return self._part(reeds) if reeds else []

    def _reeds(
        self, among: Sequence[Among], *, order: str = "id", limit: int | None = None, offset: int = 0
    ) -> list[_Reed]:
        """Those whose state and owner are such."""
        return self._reader.columns(
            ReedRecord, _COLUMNS, self._where, among=among, order=order, limit=limit, offset=offset
        )

    def _all(self, among: Sequence[Among]) -> list[Candidate]:
        reeds = self._reeds(among)
        parts = (reeds[start : start + _AT_ONCE] for start in range(0, len(reeds), _AT_ONCE))
        return [one for part in parts for one in self._part(part)]

    def _part(self, reeds: Sequence[_Reed]) -> list[Candidate]:
        """All but balance and pitch."""
        numbers = {row_id: number for row_id, number, *_ in reeds}
        self._ids |= {number: row_id for row_id, number in numbers.items()}
        known, strengths = strengths_now(self._reader, list(numbers))
        self._strengths.eases.update(strengths.eases)
        mouths = mouth_tests(self._reader, numbers)
        found = []
        for row_id, number, state, reason, owner in reeds:
            strength, tests = known.get(row_id), mouths.get(row_id)
            found.append(
                Candidate(
                    number=number,
                    state=State(state),
                    state_reason=reason,
                    pinches=strengths.pinches(row_id),
                    playing_kpa=None if strength is None else strength.kpa,
                    read_days=None if strength is None else _days(strength.at, self._now),
                    before=None if strength is None else strength.before,
                    owner=None if owner is None else self._owners.get(owner),
                    rests=self._rests(tests, number) if tests else "",
                )
            )
        return found

    def _rests(self, tests: list[MouthTest], number: str) -> str:
        return rest_said(standing(tests, reed=number, player=self._person.name, now=self._now))

    def heard(self, candidates: Sequence[Candidate]) -> list[Candidate]:
        """With balance and pitch in the newest take."""
        ids = [self._ids[one.number] for one in candidates]
        newest = self._reader.newest_columns(TakeRecord, _Take._fields, "reed_id", ids, order="at")
        # A take from before the reed was eased did not hear it as it is now.
        takes = {
            take.reed_id: take
            for take in map(_Take._make, newest)
            if self._strengths.before(take.reed_id, take.at) is None
        }
        pitches: dict[int, dict[str, float]] = {take.id: {} for take in takes.values()}
        among: Among = ("take_id", list(pitches), True)
        for take_id, note, hz in self._reader.columns(PitchRecord, ("take_id", "note", "hz"), among=[among]):
            pitches[take_id][note] = hz
        return [
            _with_balance(one, take, pitches[take.id]) if (take := takes.get(reed_id)) else one
            for reed_id, one in zip(ids, candidates, strict=True)
        ]


def _days(at: str, now: datetime) -> float:
    return (now - datetime.fromisoformat(at)).total_seconds() / _DAY_S


def pitches_of(reader: Reader, takes: Iterable[TakeRecord]) -> dict[int, list[PitchRecord]]:
    """The pitches of each of these takes."""
    found: dict[int, list[PitchRecord]] = {take.id: [] for take in takes}
    for pitch in reader.of_many(PitchRecord, "take_id", list(found)):
        found[pitch.take_id].append(pitch)
    return found


@cache
def _places(scale_name: str) -> dict[str, float]:
    """Where each note of a scale lies along the beam, cents above low A."""
    scale = scale_named(scale_name)
    return {note: scale.cents(note) for note in scale.ratios}


def _with_balance(known: Candidate, take: _Take, pitches: Mapping[str, float]) -> Candidate:
    try:
        scale = scale_named(take.scale)
    except UnknownNameError:
        # A scale of another bench: that take says nothing here, the reed's strength still does.
        return known
    if take.reference_hz is None:
        return known
    along = _places(take.scale)
    # How unsure a note is does not enter the score.
    deviations = {
        note: Deviation(
            cents=hz_to_cents(hz, take.reference_hz * scale.ratios[note]),
            sd_cents=0.0,
            interval_cents=along[note],
        )
        for note, hz in pitches.items()
    }
    balance = balance_of(deviations, reference_sd_cents=0.0)
    if balance is None:
        return known
    # The beam lies on the two As: that nothing is left there says nothing of balance.
    rests = [abs(rest.value) for note, rest in balance.rest_cents.items() if note not in POSTS]
    return replace(
        known,
        tilt_cents=balance.tilt_cents.value,
        rest_cents=max(rests, default=None),
        # Against its own low A or drones that follow it, a reed's pitch says nothing.
        pitch_cents=balance.height_cents.value if take.reference == "fixed" else None,
        heard=tuple(balance.rest_cents),
    )
