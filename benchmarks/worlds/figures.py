"""The table of a world and a piper: what was reached beside what is asked."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from worlds.hour import Round

CAN_CENTS: Final = 3.0
WITHIN_CENTS: Final = 5.0
_WORSE_CENTS: Final = 1.0
_MOST_FIRST: Final = 4
_ROUNDS: Final = 4
_LEAST_SEAT_MM: Final = 0.25
_LEAST_TAPE_MM: Final = 0.5
_NOTHING_MM: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Hour:
    """One chanter's hour. `reachable` is the best worst note, cents; `began_in_tune` that it was set so."""

    seed: int
    reachable: float
    began_in_tune: bool
    rounds: tuple[Round, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One figure: what, how many of how many, or a figure in words, and what is asked."""

    what: str
    count: int
    of: int
    asked: str
    words: str = ""

    @property
    def text(self) -> str:
        """As printed."""
        share = f"{100 * self.count / self.of:5.1f} %" if self.of else "      -"
        figure = self.words or f"{self.count:4d} of {self.of:<4d} {share}"
        return f"  {self.what:52} {figure:24} asked: {self.asked}"


def lines(hours: Sequence[Hour]) -> Iterator[Line]:
    """Every figure of one world with one piper."""
    fresh = [hour for hour in hours if not hour.began_in_tune]
    yield from _reached(fresh)
    yield from _rounds([one for hour in fresh for one in hour.rounds])
    yield from _in_tune(hours)
    yield from _ends(fresh)
    yield from _against(hours)
    yield from _held(fresh)
    yield from _small(fresh)
    spent = [one.milliseconds for hour in hours for one in hour.rounds]
    low, high = np.percentile(spent, [50, 95])
    yield Line(
        what="a plan, median and 95th of a hundred, processor time",
        count=0,
        of=0,
        asked="at most 150 ms",
        words=f"{low:.0f} and {high:.0f} ms",
    )


def _reached(fresh: Sequence[Hour]) -> Iterator[Line]:
    can = [hour for hour in fresh if hour.reachable <= CAN_CENTS]
    for rounds, asked in ((2, "at least 90 %"), (3, "at least 95 %")):
        good = [hour for hour in can if _after(hour, rounds).worst_after <= WITHIN_CENTS]
        yield Line(
            what=f"within 5 cents after {rounds} rounds, where 3 can be reached",
            count=len(good),
            of=len(can),
            asked=asked,
        )
    cannot = [hour for hour in fresh if hour.reachable > WITHIN_CENTS]
    said = [hour for hour in cannot if any(one.set_aside or one.kind == "break-in" for one in hour.rounds)]
    yield Line(what="said so where 5 cannot be reached", count=len(said), of=len(cannot), asked="-")


def _rounds(rounds: Sequence[Round]) -> Iterator[Line]:
    acted = [one for one in rounds if one.done]
    worse = [one for one in acted if one.worst_after > one.worst_before + _WORSE_CENTS]
    yield Line(
        what="rounds that make the worst note worse by 1 cent",
        count=len(worse),
        of=len(acted),
        asked="at most 3 %",
    )


def _in_tune(hours: Sequence[Hour]) -> Iterator[Line]:
    """Every take whose truth was in tolerance, whether the chanter began so or came to it."""
    for what, some in (
        ("begun in tune", [hour.rounds[0] for hour in hours if hour.began_in_tune]),
        ("come to", [one for hour in hours for one in hour.rounds[0 if not hour.began_in_tune else 1 :]]),
    ):
        right = [one for one in some if one.in_tune]
        asked = [one for one in right if one.moved]
        yield Line(what=f"acts asked in tune, {what}", count=len(asked), of=len(right), asked="at most 2 %")
        spoilt = [one for one in asked if one.spoilt]
        yield Line(what="  spoilt by them", count=len(spoilt), of=len(asked), asked="0")


def _ends(fresh: Sequence[Hour]) -> Iterator[Line]:
    many = [hour for hour in fresh if hour.rounds[0].acts > _MOST_FIRST]
    yield Line(what="first plans over four acts", count=len(many), of=len(fresh), asked="at most 5 %")
    can = [hour for hour in fresh if hour.reachable <= CAN_CENTS]
    for what, some in (("", fresh), (", where 3 can be", can)):
        done = [hour for hour in some if hour.rounds[-1].kind in ("leave", "break-in")]
        yield Line(
            what=f"said to be done within four rounds{what}",
            count=len(done),
            of=len(some),
            asked="at least 90 %",
        )
    left = [hour for hour in fresh if hour.rounds[-1].kind == "leave"]
    true = [hour for hour in left if hour.rounds[-1].worst_after <= WITHIN_CENTS]
    yield Line(what="  and truly within 5 cents when left", count=len(true), of=len(left), asked="-")
    again = [one for hour in fresh for one in hour.rounds if one.kind == "ask"]
    takes = sum(len(hour.rounds) for hour in fresh)
    yield Line(what="takes after which only another was asked for", count=len(again), of=takes, asked="-")


def _against(hours: Sequence[Hour]) -> Iterator[Line]:
    rounds = [one for hour in hours for one in hour.rounds]
    moved = [one for one in rounds if one.moved]
    for name, what in (
        ("octave", "seat moved against the octave just measured"),
        ("flat", "tape on a note just measured flat"),
        ("unheard", "tape on a note that the take did not hear"),
    ):
        found = [one for one in moved if name in one.opposite]
        yield Line(what=what, count=len(found), of=len(moved), asked="0")
    beside = [one for one in rounds if one.set_aside and one.acts]
    yield Line(what='"set aside" beside an act', count=len(beside), of=len(rounds), asked="0")
    could = [hour for hour in hours if hour.reachable <= WITHIN_CENTS]
    given_up = [hour for hour in could if any(one.set_aside for one in hour.rounds)]
    yield Line(
        what='"set aside" where 5 cents can be reached',
        count=len(given_up),
        of=len(could),
        asked="at most 2 %",
    )


def _held(fresh: Sequence[Hour]) -> Iterator[Line]:
    for number in range(_ROUNDS):
        some = [_acted(hour)[number] for hour in fresh if len(_acted(hour)) > number]
        yield Line(
            what=f"90 % intervals hold, round {number + 1}",
            count=sum(one.held for one in some),
            of=sum(one.predicted for one in some),
            asked="85 to 95 %",
        )


def _small(fresh: Sequence[Hour]) -> Iterator[Line]:
    pairs = [pair for hour in fresh for pair in _consecutive(hour.rounds)]
    back = [pair for pair in pairs if pair[0] * pair[1] < 0]
    yield Line(what="consecutive seat moves that reverse", count=len(back), of=len(pairs), asked="-")
    acted = [one for hour in fresh for one in _acted(hour)]
    seats = [one for one in acted if abs(one.seat_mm) > _NOTHING_MM]
    tiny = [one for one in seats if abs(one.seat_mm) < _LEAST_SEAT_MM - _NOTHING_MM]
    yield Line(what="seat moves below 0.25 mm", count=len(tiny), of=len(seats), asked="0")
    taped = [one for one in acted if any(abs(mm) > _NOTHING_MM for mm in one.tape_mm)]
    fine = [
        one
        for one in taped
        if any(_NOTHING_MM < abs(mm) < _LEAST_TAPE_MM - _NOTHING_MM for mm in one.tape_mm)
    ]
    yield Line(what="rounds with a change of tape below 0.5 mm", count=len(fine), of=len(taped), asked="0")


def _after(hour: Hour, rounds: int) -> Round:
    """Where the chanter stood after so many rounds of acts, or where it was left before."""
    acted = _acted(hour)
    return acted[rounds - 1] if len(acted) >= rounds else hour.rounds[-1]


def _acted(hour: Hour) -> list[Round]:
    """The rounds in which something was done."""
    return [one for one in hour.rounds if one.done]


def _consecutive(rounds: Iterable[Round]) -> Iterator[tuple[float, float]]:
    moves = [one.seat_mm for one in rounds if abs(one.seat_mm) > _NOTHING_MM]
    return pairwise(moves)
