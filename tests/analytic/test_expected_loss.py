"""The loss that amounts are chosen by, against closed forms; an act that gains less than its price."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from analytic.test_belief import straight_tables
from canebench.base.fingering import HOLES
from canebench.base.notes import LOW_A, NOTES, C, E
from canebench.base.setting import Setting
from canebench.fitting.belief import Belief, believed
from canebench.fitting.sizing import PRICE, Aim, Allowed, deviations, sized

if TYPE_CHECKING:
    from collections.abc import Sequence

_NINE = len(NOTES)
_TOLERANCE = 4.0
#: Where a note begins to cost, in tolerances, as `docs/theory/fitting.md` has it.
_FREE = 0.3


def _aim(*counted: str, follow_low_a: bool = False) -> Aim:
    return Aim(
        tolerance_cents=np.full(_NINE, _TOLERANCE),
        counted=np.isin(NOTES, counted or NOTES),
        follow_low_a=follow_low_a,
    )


def _off(**tolerances: float) -> np.ndarray:
    """Cents of the nine notes, of which some are off by so many tolerances."""
    return np.array([_TOLERANCE * tolerances.get(note, 0.0) for note in NOTES])


def _loss(cents: np.ndarray, sd_cents: float = 0.0, aim: Aim | None = None) -> float:
    covariance = sd_cents**2 * np.eye(_NINE)
    (found,) = (aim or _aim()).loss(cents[None], covariance[None])
    return float(found)


@pytest.mark.parametrize(
    ("off", "loss"),
    [
        ({}, 0.0),
        ({"C": 0.2, "F": -0.3}, 0.0),
        ({"C": 1.3}, 1.0),
        ({"C": -2.3}, 4.0),
        ({"C": 0.8, "E": -0.8}, 0.5),
    ],
)
def test_what_is_known_costs_the_square_of_what_lies_beyond(off: dict[str, float], loss: float) -> None:
    assert _loss(_off(**off)) == pytest.approx(loss, abs=1e-12)


def test_only_what_was_heard_costs() -> None:
    assert _loss(_off(C=1.3, E=2.3), aim=_aim("C")) == pytest.approx(1.0)
    assert _loss(_off(C=1.3, E=2.3), aim=_aim("D")) == 0.0


def test_against_low_a_every_note_costs_what_it_is_off_from_it() -> None:
    """All notes as sharp as low A are right; low A alone sharp puts eight out."""
    assert _loss(np.full(_NINE, 40.0), aim=_aim(follow_low_a=True)) == 0.0
    low_a = np.where(np.isin(NOTES, LOW_A), 1.3 * _TOLERANCE, 0.0)
    assert _loss(low_a, aim=_aim(follow_low_a=True)) == pytest.approx(8.0)


def test_doubt_costs_its_variance() -> None:
    """Far out, where all of the distribution is beyond: the mean of a square is that of the mean, and it."""
    aim = _aim("C")
    assert _loss(_off(C=5.3), 0.5 * _TOLERANCE, aim) == pytest.approx(5.0**2 + 0.5**2)
    assert _loss(_off(C=-5.3), 0.5 * _TOLERANCE, aim) == pytest.approx(5.0**2 + 0.5**2)


@pytest.mark.parametrize("sd", [0.5, 1.0, 2.0])
def test_doubt_of_what_should_be_right_costs_too(sd: float) -> None:
    """Twice the second moment of a normal tail beyond 0.3; seven nodes have it to a twentieth."""
    beyond = math.erfc(_FREE / sd / math.sqrt(2)) / 2
    density = math.exp(-((_FREE / sd) ** 2) / 2) / math.sqrt(2 * math.pi)
    wanted = 2 * ((sd**2 + _FREE**2) * beyond - _FREE * sd * density)
    assert _loss(_off(), sd * _TOLERANCE, _aim("C")) == pytest.approx(wanted, rel=0.05)


def test_a_variance_that_rounding_puts_below_nought_is_none() -> None:
    covariance = np.diag([-1e-15, *np.ones(_NINE - 1)])[None]
    _, variance = deviations(np.zeros((1, _NINE)), covariance, follow_low_a=False)
    np.testing.assert_array_equal(variance[0], np.diagonal(covariance[0]).clip(0.0))


def _known(cents: np.ndarray) -> Belief:
    """A reed of which nothing is in doubt: straight lines, 3 cents for a millimetre of tape on any hole."""
    start = believed(straight_tables(), [])
    mean = np.where(np.arange(start.mean.size) < _NINE, np.resize(cents, start.mean.size), 1.0)
    return replace(start, mean=mean, covariance=np.zeros_like(start.covariance))


def _chosen(
    cents: np.ndarray,
    *counted: str,
    seats: Sequence[float] = (),
    grow: Sequence[str] = (),
    shrink: Sequence[str] = (),
    must_move: bool = False,
    belief: Belief | None = None,
    present: Setting | None = None,
) -> Setting:
    allowed = Allowed(
        seats_mm=seats,
        grow=grow,
        shrink=shrink,
        tape_most_mm=np.full(len(HOLES), 4.0),
        most_acts=4,
        must_move=must_move,
    )
    return sized(belief or _known(cents), present or Setting(), _aim(*counted), allowed)


@pytest.mark.parametrize(("share", "asked"), [(0.97, False), (1.03, True)])
def test_an_act_is_asked_where_it_gains_more_than_its_price(share: float, *, asked: bool) -> None:
    """A tenth of a squared tolerance: a note that is sharp by just that beyond three tenths."""
    sharp = _FREE + math.sqrt(share * 0.1)
    assert math.isclose(PRICE, 0.1)
    assert bool(_chosen(_off(C=sharp), grow=[C]).tape_mm) is asked
    assert (_chosen(_off(E=sharp), "E", seats=[-0.25]).seat_mm == -0.25) is asked


def test_each_of_two_acts_has_its_price() -> None:
    """Two notes, each worth a strip; of two of which one is not, the other alone gets it."""
    worth, not_worth = _FREE + math.sqrt(0.103), _FREE + math.sqrt(0.097)
    assert set(_chosen(_off(C=worth, E=worth), grow=[C, E]).tape_mm) == {C, E}
    assert set(_chosen(_off(C=worth, E=not_worth), grow=[C, E]).tape_mm) == {C}


def test_of_moves_that_are_as_good_the_smallest_is_taken() -> None:
    """An E that is free of cost from a quarter of a millimetre on."""
    assert _chosen(_off(E=0.8), "E", seats=[-0.25, -0.3, -0.35]).seat_mm == -0.25


def test_a_move_of_the_seat_is_one_of_the_four_acts() -> None:
    """It sits too deep, and five notes are sharp besides. Control: with no seat to move, four strips."""
    sharp = _off(B=4.0, C=4.0, D=4.0, E=4.0, F=4.0)
    both = _chosen(sharp + straight_tables().seat(1.5), seats=[-1.5], grow=HOLES)
    assert both.seat_mm == -1.5
    assert len(both.tape_mm) == 3
    assert len(_chosen(sharp, grow=HOLES).tape_mm) == 4


def test_where_the_seat_must_move_a_strip_comes_beside_it_only() -> None:
    """Control: the strip alone, where it need not."""
    assert _chosen(_off(C=2.0), seats=[0.25], grow=[C]).tape_mm
    assert _chosen(_off(C=2.0), seats=[0.25], grow=[C]).seat_mm == 0.0
    beside = _chosen(_off(C=2.0), seats=[0.25], grow=[C], must_move=True)
    assert beside.seat_mm == 0.25
    assert beside.tape_mm
    assert _chosen(_off(C=2.0), grow=[C], must_move=True) == Setting()


@pytest.mark.parametrize(("off", "left_mm"), [(-1.0, 1.5), (1.0, 2.5), (0.5, 2.0), (-0.5, 2.0)])
def test_no_strip_is_changed_by_less_than_half_a_millimetre(off: float, left_mm: float) -> None:
    """Each millimetre on C makes three tolerances: a quarter would do better, and is not told."""
    present = Setting(tape_mm={C: 2.0})
    known = _known(_off(C=off + 3.0 * 2.0))
    steep = known.mean.copy()
    steep[2 * _NINE + HOLES.index(C)] = 4.0
    known = replace(known, mean=steep)
    assert known.predict([present])[0][0][NOTES.index(C)] == pytest.approx(_TOLERANCE * off)
    found = _chosen(_off(), grow=[C], shrink=[C], belief=known, present=present)
    assert found.tape_mm == {C: left_mm}


def test_a_bare_hole_has_no_strip_to_shrink() -> None:
    assert _chosen(_off(C=-3.0), shrink=[C]) == Setting()
