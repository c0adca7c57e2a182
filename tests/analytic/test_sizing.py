"""Amounts of seat and tape: against the truth of a chanter of straight lines, and the price of an act."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from analytic.test_belief import _TAPE, heard_take, straight_tables
from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.fitting.belief import believed
from canebench.fitting.sizing import LEAST_TAPE_MM, Aim, Allowed, deviations, sized

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.fitting.belief import HeardTake

_NINE = len(NOTES)
_TOLERANCE = 4.0
_SEATS = tuple(0.25 * count for count in range(1, 9))


def _sized(
    cents: np.ndarray,
    *,
    seats: Sequence[float] = (),
    grow: Sequence[str] = (),
    shrink: Sequence[str] = (),
    most_mm: float = 4.0,
    must_move: bool = False,
    present: Setting | None = None,
    before: Sequence[HeardTake] = (),
) -> Setting:
    aim = Aim(
        tolerance_cents=np.full(_NINE, _TOLERANCE), counted=np.ones(_NINE, dtype=bool), follow_low_a=True
    )
    allowed = Allowed(
        seats_mm=seats,
        grow=grow,
        shrink=shrink,
        tape_most_mm=np.full(len(HOLES), most_mm),
        most_acts=4,
        must_move=must_move,
    )
    present = present or Setting()
    belief = believed(straight_tables(), [*before, heard_take(cents, present)])
    return sized(belief, present, aim, allowed)


@pytest.mark.parametrize("deeper_mm", [1.0, 1.5])
def test_the_seat_that_is_off_is_found(deeper_mm: float) -> None:
    """Cents of a reed that sits too high by so much; aiming inside the tolerance may spare a little."""
    cents = straight_tables().seat(-deeper_mm)
    assert _sized(cents, seats=_SEATS).seat_mm == pytest.approx(deeper_mm, abs=0.5)


@pytest.mark.parametrize("sharp", [9.0, 12.0])
def test_one_sharp_note_gets_its_strip_and_no_other(sharp: float) -> None:
    """At first no more than the tables say, since they may be wrong; in tune once a take has told."""
    bare = np.zeros(_NINE)
    bare[NOTES.index("C")] = sharp
    first = _sized(bare, grow=HOLES)
    assert set(first.tape_mm) == {"C"}
    assert LEAST_TAPE_MM <= first.tape_mm["C"] <= sharp / _TAPE + 0.25
    taped = bare.copy()
    taped[NOTES.index("C")] -= _TAPE * first.tape_mm["C"]
    then = _sized(taped, grow=HOLES, present=first, before=[heard_take(bare)])
    assert set(then.tape_mm) == {"C"}
    assert abs(sharp - _TAPE * then.tape_mm["C"]) <= _TOLERANCE / 2


def test_what_is_in_tune_is_not_worth_an_act() -> None:
    """Control: ten cents are."""
    assert _sized(np.zeros(_NINE), seats=_SEATS, grow=HOLES) == Setting()
    off = np.zeros(_NINE)
    off[NOTES.index("E")] = 10.0
    assert _sized(off, seats=_SEATS, grow=HOLES) != Setting()


def test_no_more_than_four_acts() -> None:
    cents = np.where(np.isin(NOTES, ("B", "C", "D", "E", "F", "high G")), 14.0, 0.0)
    assert len(_sized(cents, grow=HOLES).tape_mm) == 4


def _flat(note: str, cents: float) -> np.ndarray:
    found = np.zeros(_NINE)
    found[NOTES.index(note)] = -cents
    return found


@pytest.mark.parametrize(("flat", "left_mm"), [(4.5, (0.5, 0.75, 1.0)), (10.0, (0.0,))])
def test_a_strip_on_a_flat_note_shrinks_or_goes(flat: float, left_mm: tuple[float, ...]) -> None:
    """Two millimetres of tape, each of 3 cents: as much comes off as is flat, or a little less."""
    present = Setting(tape_mm={"C": 2.0, "E": 1.0})
    found = _sized(_flat("C", flat), shrink=("C",), present=present)
    assert found.tape_mm.get("C", 0.0) in left_mm
    assert found.tape_mm["E"] == 1.0
    assert _sized(_flat("C", flat), grow=("E",), present=present).tape_mm == present.tape_mm


@pytest.mark.parametrize("most_mm", [1.0, 1.75])
def test_a_strip_may_be_as_wide_as_is_allowed_and_no_wider(most_mm: float) -> None:
    assert _sized(_flat("C", -20.0), grow=HOLES, most_mm=most_mm).tape_mm == {"C": most_mm}
    assert not _sized(_flat("C", -20.0), grow=HOLES, most_mm=LEAST_TAPE_MM - 0.01).tape_mm
    narrowest = _sized(_flat("C", -20.0), grow=HOLES, most_mm=LEAST_TAPE_MM).tape_mm
    assert narrowest == {"C": LEAST_TAPE_MM}


def test_a_strip_that_grows_is_told_in_quarters_and_by_a_half_at_least() -> None:
    """It bears a millimetre; six tenths more may be taken to one and a half, not to one and a quarter."""
    present = Setting(tape_mm={"C": 1.0})
    taped = heard_take(_flat("C", 1.0 * _TAPE), present)
    for most_mm, found in ((1.6, 1.5), (1.5, 1.5), (1.4, 1.0)):
        sharp = _sized(_flat("C", -15.0), grow=("C",), present=present, before=[taped], most_mm=most_mm)
        assert sharp.tape_mm["C"] == found


def test_a_seat_that_must_move_moves_though_nothing_is_gained() -> None:
    """Or stays, where no depth is better than where it is; strips go only beside a move."""
    sharp = _flat("C", -12.0)
    assert _sized(sharp, seats=(0.25,), grow=HOLES).seat_mm == 0.0
    assert _sized(sharp, seats=(0.25,), grow=HOLES, must_move=True).seat_mm == 0.25
    assert _sized(np.zeros(_NINE), seats=(0.25,), grow=HOLES, must_move=True) == Setting()


@pytest.mark.parametrize("deep_mm", [0.7, 0.8])
def test_one_move_of_the_seat_is_dearer_than_no_four_strips(deep_mm: float) -> None:
    """The reed sits too deep by so much. Control: where the seat may not move, it takes four strips."""
    cents = straight_tables().seat(deep_mm)
    assert _sized(cents, seats=(-0.5,), grow=HOLES) == Setting(seat_mm=-0.5)
    assert len(_sized(cents, grow=HOLES).tape_mm) == 4


def test_an_act_is_worth_its_price_or_is_not_asked() -> None:
    """A reed well known, so that its loss is that of its cents: some tolerances off are worth a strip."""
    known = [heard_take(_flat("C", -off)) for off in (4.0, 4.0, 4.0, 4.0)]
    assert not _sized(_flat("C", -2.0), grow=HOLES, before=known[:0]).tape_mm
    assert _sized(_flat("C", -4.0), grow=HOLES, before=known).tape_mm


def test_variance_against_low_a_is_that_of_a_difference() -> None:
    """Of independent notes: the sum of both; fixed: the note's own."""
    covariance = np.diag(np.arange(1.0, 10.0))[None]
    low_a = NOTES.index("low A")
    _, moving = deviations(np.zeros((1, _NINE)), covariance, follow_low_a=True)
    _, fixed = deviations(np.zeros((1, _NINE)), covariance, follow_low_a=False)
    np.testing.assert_allclose(fixed[0], np.arange(1.0, 10.0))
    wanted = np.arange(1.0, 10.0) + covariance[0, low_a, low_a]
    wanted[low_a] = 0.0
    np.testing.assert_allclose(moving[0], wanted)
