"""The order of work. Common practice, no source."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import pytest

from canebench.base.fingering import HOLES
from canebench.base.setting import Setting
from canebench.fitting.acts import Act
from canebench.fitting.working_order import Move, working_order

if TYPE_CHECKING:
    from collections.abc import Sequence

_RANK = {
    Act.PINCH: 1,
    Act.SEAT_DEEPER: 2,
    Act.RAISE_WITH_HEMP: 2,
    Act.TAPE: 3,
}


def _acts(present: Setting, planned: Setting) -> list[tuple[Act, str | None]]:
    return [(move.act, move.hole) for move in working_order(present, planned)]


def _rank(move: Move) -> tuple[int, int]:
    """Where an act belongs: bare chanter, reed, seat, tape from the bottom up."""
    if move.act is Act.TAPE_OFF and move.hole is None:
        return 0, 0
    act = Act.TAPE if move.act is Act.TAPE_OFF else move.act
    return _RANK[act], 0 if move.hole is None else -HOLES.index(move.hole)


def _in_order(moves: Sequence[Move]) -> bool:
    ranks = [_rank(move) for move in moves]
    return ranks == sorted(ranks)


_FAR = Setting(seat_mm=-1.0, tape_mm={"C": 1.5, "F": 1.0, "low A": 0.5}, pinches=1)
_TAPED = Setting(tape_mm={"B": 2.0, "F": 2.0})
_BARE = Setting(seat_mm=0.5, pinches=1)


def test_nothing_to_do_is_no_act() -> None:
    assert _acts(Setting(seat_mm=0.5), Setting(seat_mm=0.5)) == []
    assert _acts(_FAR, _FAR) == []


def test_less_than_a_hair_is_no_act() -> None:
    assert _acts(Setting(), Setting(seat_mm=0.005, tape_mm={"E": 0.04})) == []
    assert _acts(Setting(), Setting(seat_mm=0.02)) != []


def test_the_octave_by_the_seat_then_tape_from_the_bottom_up() -> None:
    planned = Setting(seat_mm=0.75, tape_mm={"high A": 1.0, "E": 1.0, "low A": 1.0})
    assert _acts(Setting(), planned) == [
        (Act.SEAT_DEEPER, None),
        (Act.TAPE, "low A"),
        (Act.TAPE, "E"),
        (Act.TAPE, "high A"),
    ]


def test_all_of_it_comes_in_the_order_of_the_trade() -> None:
    moves = working_order(_TAPED, _FAR)
    assert [(move.act, move.hole) for move in moves] == [
        (Act.PINCH, None),
        (Act.RAISE_WITH_HEMP, None),
        (Act.TAPE, "low A"),
        (Act.TAPE_OFF, "B"),
        (Act.TAPE, "C"),
        (Act.TAPE, "F"),
    ]
    assert _in_order(moves)


def test_all_tape_comes_off_before_reed_and_seat_are_touched() -> None:
    moves = working_order(_TAPED, _BARE)
    assert [(move.act, move.hole) for move in moves] == [
        (Act.TAPE_OFF, None),
        (Act.PINCH, None),
        (Act.SEAT_DEEPER, None),
    ]
    assert _in_order(moves)


@pytest.mark.parametrize(
    ("planned", "earlier", "later"),
    [
        *((_FAR, *pair) for pair in itertools.combinations(range(6), 2)),
        *((_BARE, *pair) for pair in itertools.combinations(range(3), 2)),
    ],
)
def test_any_two_acts_the_wrong_way_round_would_be_noticed(
    planned: Setting, earlier: int, later: int
) -> None:
    """The control of the two orders above."""
    moves = list(working_order(_TAPED, planned))
    moves[earlier], moves[later] = moves[later], moves[earlier]
    assert not _in_order(moves)


@pytest.mark.parametrize("present", [Setting(), _TAPED, _FAR, _BARE])
@pytest.mark.parametrize(
    "planned", [Setting(), _TAPED, _FAR, _BARE, Setting(seat_mm=0.5, tape_mm={"E": 1.0})]
)
def test_the_moves_lead_where_they_should(present: Setting, planned: Setting) -> None:
    moves = working_order(present, planned)
    assert _in_order(moves)
    assert all(earlier.after == later.before for earlier, later in itertools.pairwise(moves))
    assert all(move.before != move.after for move in moves)
    if moves:
        assert moves[0].before == present
    last = moves[-1].after if moves else present
    assert last.seat_mm == planned.seat_mm
    assert last.tape_mm == planned.tape_mm
    # What was pinched stays pinched.
    assert last.pinches == max(present.pinches, planned.pinches)


def test_a_reed_that_shall_sit_higher_is_raised_with_hemp() -> None:
    assert _acts(Setting(), Setting(seat_mm=-0.5))[0] == (Act.RAISE_WITH_HEMP, None)


def test_a_pinch_comes_before_the_seat() -> None:
    acts = [act for act, _ in _acts(Setting(), Setting(seat_mm=0.5, pinches=1))]
    assert acts[:2] == [Act.PINCH, Act.SEAT_DEEPER]


def test_tape_that_shall_all_go_is_one_act_and_one_strip_of_several_its_own() -> None:
    taped = Setting(tape_mm={"E": 1.0, "D": 1.0})
    assert _acts(taped, Setting()) == [(Act.TAPE_OFF, None)]
    assert _acts(taped, Setting(tape_mm={"D": 1.0})) == [(Act.TAPE_OFF, "E")]
    assert _acts(taped, taped) == []


def test_tape_alone_touches_neither_reed_nor_seat() -> None:
    assert _acts(Setting(), Setting(tape_mm={"D": 1.0})) == [(Act.TAPE, "D")]


def test_a_move_tells_by_how_much_and_from_what_to_what() -> None:
    """From where the reed sits, not from the hand seat; a bare hole bears no tape."""
    taped = Setting(seat_mm=0.5, tape_mm={"E": 1.0, "B": 1.0})
    moves = working_order(taped, Setting(seat_mm=1.25, tape_mm={"E": 2.0, "D": 1.5}))
    assert [(move.act, move.seat_mm, move.tape_mm()) for move in moves] == [
        (Act.SEAT_DEEPER, 0.75, (0.0, 0.0)),
        (Act.TAPE_OFF, 0.0, (1.0, 0.0)),
        (Act.TAPE, 0.0, (0.0, 1.5)),
        (Act.TAPE, 0.0, (1.0, 2.0)),
    ]
    (back,) = working_order(Setting(seat_mm=0.5), Setting(seat_mm=-0.25))
    assert (back.act, back.seat_mm) == (Act.RAISE_WITH_HEMP, -0.75)
