"""Which reeds suit a player now, by all that the ledger knows of them.

Guarded by `tests/doors/test_choose_command.py` and `tests/web/test_choose.py`.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.scales import scale_named
from canebench.base.units import hz_to_cents
from canebench.bench.acts.band import zone_of
from canebench.bench.acts.ledger import named
from canebench.bench.acts.reeds.mouths import mouth_tests
from canebench.bench.acts.reeds.strengths import read_strengths
from canebench.care.quarantine import rest_said, standing
from canebench.fitting.balance import POSTS, Deviation, balance_of
from canebench.reeds.choice import Candidate, Choice, choose
from canebench.reeds.states import State
from canebench.store.records import LotRecord, PitchRecord, PlayerRecord, ReedRecord, TakeRecord

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader
    from canebench.store.tables import Value

#: So many reeds are read at once.
_AT_ONCE: Final = 1_000
_DAY_S: Final = 86_400.0


def choose_for(ledger: Ledger, player: str, *, lot: str | None = None) -> list[Choice]:
    """The reeds of a lot, or all, judged for a player now; those that are offered to nobody stand last."""
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
        reeds = reader.rows(ReedRecord, where)
        now = ledger.clock().astimezone(zone_of(reader))
        candidates = [
            candidate
            for start in range(0, len(reeds), _AT_ONCE)
            for candidate in _candidates(reader, reeds[start : start + _AT_ONCE], person, now)
        ]
    return choose(candidates, blows_kpa=blows, ceiling_kpa=ceiling)


def _candidates(
    reader: Reader, reeds: Sequence[ReedRecord], person: PlayerRecord, now: datetime
) -> list[Candidate]:
    """What the ledger knows of reeds: strength, mouths, owners, and balance and pitch in the newest take."""
    ids = [reed.id for reed in reeds]
    strengths, mouths = read_strengths(reader, ids), mouth_tests(reader, reeds)
    owners = reader.by_id(PlayerRecord, (reed.player_id for reed in reeds))
    takes = {take.reed_id: take for take in reader.newest_of_many(TakeRecord, "reed_id", ids, order="at")}
    pitches = pitches_of(reader, takes.values())
    found = []
    for reed in reeds:
        strength, owner = strengths.known(reed.id), owners.get(reed.player_id)
        state = standing(mouths.get(reed.id, []), reed=reed.number, player=person.name, now=now)
        known = Candidate(
            number=reed.number,
            state=State(reed.state),
            state_reason=reed.state_reason,
            pinches=strengths.pinches(reed.id),
            playing_kpa=None if strength is None else strength.kpa,
            read_days=None if strength is None else _days(strength.at, now),
            before=None if strength is None else strength.before,
            owner=None if owner is None or owner.id == person.id else owner.name,
            rests=rest_said(state),
        )
        take = takes.get(reed.id)
        # A take from before the reed was eased did not hear it as it is now.
        if take is not None and strengths.before(reed.id, take.at) is None:
            known = _with_balance(known, take, pitches[take.id])
        found.append(known)
    return found


def _days(at: str, now: datetime) -> float:
    return (now - datetime.fromisoformat(at)).total_seconds() / _DAY_S


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
