"""What became of each reed of a lot, from rows of the ledger and the moves that its acts tell of.

Guarded by `tests/doors/test_worth_command.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from canebench.bench.acts.reeds.rows_by_reed import rows_by_reed
from canebench.bench.views.ahead.histories import both_read
from canebench.reeds.forecasts.playing import onset_share
from canebench.reeds.lots.outcome import LotReed
from canebench.reeds.states import NOT_OFFERED, State
from canebench.store.records import EaseRecord, PlayRecord, ReedRecord, StrengthRecord

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from canebench.reeds.forecasts.playing import OnsetShare
    from canebench.store.reader import Reader

    _Moves = list[tuple[State, datetime]]

#: A reed in one of these is settled: what is spare is good enough to be put by.
SETTLED: Final = (State.SETTLED, State.SPARE)
#: A settled reed that was retired is taken to be worn out unless its reason has one of these words.
_OTHER_ENDS: Final = (
    *("lost", "stolen", "gave", "given", "gift", "sold", "lent", "swapped", "returned", "sent back"),
    *("broke", "chip", "crack", "split", "snapped", "dropped", "trod", "crushed", "accident"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedFate:
    """What became of one reed.

    Attributes
    ----------
    reed : ReedRecord
        As it stands.
    settled : bool or None
        Whether it settled; None while that is open.
    days : float or None
        From its first move or minute to its being settled.
    break_in_min : float or None
        Minutes played until then, where any are written down.
    minutes : float
        All that it was played.
    onset_kpa : float or None
        As new: its first reading before any ease.
    worn_out : bool
        Whether it ended so.
    """

    reed: ReedRecord
    settled: bool | None
    days: float | None
    break_in_min: float | None
    minutes: float
    onset_kpa: float | None
    worn_out: bool

    @property
    def counted(self) -> LotReed:
        """The same as figures of a lot want it."""
        return LotReed(
            number=self.reed.number,
            settled=self.settled,
            strength_kpa=self.onset_kpa,
            break_in_min=self.break_in_min,
            lived_h=self.minutes / 60.0 or None,
            worn_out=self.worn_out,
        )

    @property
    def said(self) -> str:
        """How it is counted, in words."""
        if self.worn_out:
            return "settled, worn out"
        if self.settled is None:
            return "open"
        gone = ", gone" if self.settled and self.reed.state in NOT_OFFERED else ""
        return f"settled{gone}" if self.settled else "not settled"


def fates_of(reader: Reader, lot_id: int) -> list[ReedFate]:
    """What became of the reeds of a lot, by number."""
    reeds = reader.rows(ReedRecord, {"lot_id": lot_id}, order="#number")
    ids = [reed.id for reed in reeds]
    plays, eases = rows_by_reed(reader, PlayRecord, ids), rows_by_reed(reader, EaseRecord, ids)
    strengths = rows_by_reed(reader, StrengthRecord, ids)
    share = onset_share(pair for rows in strengths.values() for pair in both_read(rows))
    # A reed that is new was never moved, or is as if it never was: its acts need not be read.
    stood = reader.versions(ReedRecord, [reed.id for reed in reeds if reed.state != State.NEW.value])
    return [
        _fate(
            reed,
            moves_among(stood.get(reed.id, ())),
            plays[reed.id],
            _as_new(strengths[reed.id], eases[reed.id], share),
        )
        for reed in reeds
    ]


def _fate(reed: ReedRecord, moves: _Moves, plays: Sequence[PlayRecord], onset: float | None) -> ReedFate:
    state = State(reed.state)
    settled_at = _settled_at(moves)
    settled = True if settled_at is not None else (False if state in NOT_OFFERED else None)
    begun = [at for then, at in moves if then is not State.NEW]
    begun += [_at(row.at) for row in plays if row.minutes > 0.0]
    until = [row.minutes for row in plays if settled_at is not None and _at(row.at) <= settled_at]
    days = None if settled_at is None else (settled_at - min(begun)).total_seconds() / 86_400
    return ReedFate(
        reed=reed,
        settled=settled,
        days=days if days is not None and days > 0.0 else None,
        break_in_min=sum(until) or None,
        minutes=sum(row.minutes for row in plays),
        onset_kpa=onset,
        worn_out=settled is True and state is State.RETIRED and not _other_end(reed.state_reason),
    )


def moves_among(versions: Iterable[Mapping[str, Any]]) -> _Moves:
    """The states that a reed was in and since when, oldest first; what was taken back is left out."""
    path: _Moves = []
    for row in versions:
        now = State(row["state"]), _at(row["state_since"])
        # Back where it was: what came after it was undone.
        path = path[: path.index(now) + 1] if now in path else [*path, now]
    return path


def _settled_at(moves: _Moves) -> datetime | None:
    """When it settled and was not put back to be played in since."""
    found = None
    for state, at in moves:
        if state in SETTLED:
            found = found or at
        elif state not in NOT_OFFERED:
            found = None
    return found


def _other_end(reason: str | None) -> bool:
    words = (reason or "").casefold()
    return any(word in words for word in _OTHER_ENDS)


def _as_new(
    readings: Sequence[StrengthRecord], eases: Sequence[EaseRecord], share: OnsetShare
) -> float | None:
    """Onset at its first reading before any ease, kPa: as read, or by the share from what it played at."""
    for row in readings:
        if eases and row.at >= eases[0].at:
            return None
        if row.onset_kpa:
            return row.onset_kpa
        if row.playing_kpa:
            return share.mean * row.playing_kpa
    return None


def _at(text: str) -> datetime:
    return datetime.fromisoformat(text)
