"""The plan's optimum against linear programming, an independent way to the same setting."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from canebench.base.fingering import HOLES, notes_through
from canebench.base.notes import LOW_A, NOTES
from canebench.fitting.optimum import Candidate, best_by_strips
from canebench.fitting.response import Response

_TOLERANCE = np.full(len(NOTES), 3.0)
_SLOPES = np.array([3.7, 5.4, 7.4, 9.6, 11.3, 14.4, 18.0, 19.5, 22.0])
_LOW_A = NOTES.index(LOW_A)


def made_response(seed: int) -> Response:
    """A chanter in numbers only: notes up to 20 cents off, convex tape, small effects on other notes."""
    rng = np.random.default_rng(seed)
    seats = np.arange(-2.5, 2.51, 0.25)
    levels = np.linspace(0.0, 1.0, 6)
    own = levels**1.6 * rng.uniform(8, 18, (len(HOLES), 1))
    cross = np.zeros((len(HOLES), len(NOTES)))
    for i, hole in enumerate(HOLES):
        for note in notes_through(hole):
            cross[i, NOTES.index(note)] = 1.0 if note == hole else rng.uniform(0.02, 0.2)
    return Response(
        seat_mm=seats,
        bare_cents=rng.normal(3, 6, len(NOTES)) + seats[:, None] * _SLOPES,
        reach_mm=np.outer(np.full(len(HOLES), 3.0), levels),
        flatter_cents=own[:, :, None] * cross[:, None, :],
    )


def least_worst(response: Response, *, follow_low_a: bool, sign: float = 1.0) -> float:
    """The smallest largest deviation over tolerance, by a linear programme for every seat step."""
    takes = response.cross - (response.cross[[_LOW_A]] if follow_low_a else 0.0)
    takes, most, ones = (
        sign * takes / _TOLERANCE[:, None],
        response.own_cents[:, -1],
        np.ones((len(NOTES), 1)),
    )
    found = []
    for row in response.bare_cents:
        bare = (row - (row[_LOW_A] if follow_low_a else 0.0)) / _TOLERANCE
        solved = linprog(
            [*np.zeros(len(HOLES)), 1.0],
            A_ub=np.block([[-takes, -ones], [takes, -ones]]),
            b_ub=np.concatenate([-bare, bare]),
            bounds=[*((0.0, limit) for limit in most), (0.0, None)],
        )
        found.append(solved.fun)
    return float(min(found))


def best(response: Response, *, follow_low_a: bool) -> Candidate:
    return best_by_strips(response, _TOLERANCE, follow_low_a=follow_low_a)[-1]


@pytest.mark.parametrize("follow_low_a", [True, False])
@pytest.mark.parametrize("seed", range(12))
def test_in_tune_wherever_that_can_be_and_else_nearly_the_best(seed: int, *, follow_low_a: bool) -> None:
    response = made_response(seed)
    reachable = least_worst(response, follow_low_a=follow_low_a)
    ours = best(response, follow_low_a=follow_low_a).worst
    assert ours >= reachable - 1e-6
    assert ours <= max(1.0, 1.12 * reachable)


def test_tape_that_sharpened_would_be_noticed() -> None:
    """The control: a programme whose tape works the wrong way finds something else."""
    off = [
        abs(
            best(made_response(seed), follow_low_a=False).worst
            - least_worst(made_response(seed), follow_low_a=False, sign=-1.0)
        )
        for seed in range(12)
    ]
    assert max(off) > 0.3


def test_more_strips_are_always_better_and_never_more_than_allowed() -> None:
    for seed in range(12):
        found = best_by_strips(made_response(seed), _TOLERANCE, follow_low_a=True, most_strips=3)
        strips, worst = [one.strips for one in found], [one.worst for one in found]
        assert strips == sorted(set(strips))
        assert max(strips) <= 3
        assert worst == sorted(worst, reverse=True)


def test_what_is_left_is_what_the_tables_say() -> None:
    response = made_response(3)
    for one in best_by_strips(response, _TOLERANCE, follow_low_a=False):
        left = response.bare_cents[one.seat] - response.cross @ one.tape_cents
        assert one.left_cents == pytest.approx(left)
        assert np.all(one.tape_cents <= response.own_cents[:, -1] + 1e-9)
        assert np.all(one.tape_cents >= 0)


def test_a_single_sharp_note_gets_a_single_strip_on_its_own_hole() -> None:
    response = made_response(0)
    bare = np.zeros_like(response.bare_cents) + response.seat_mm[:, None] * _SLOPES
    bare[:, NOTES.index("D")] += 8.0
    alone = Response(
        seat_mm=response.seat_mm,
        bare_cents=bare,
        reach_mm=response.reach_mm,
        flatter_cents=response.flatter_cents,
    )
    in_tune = next(one for one in best_by_strips(alone, _TOLERANCE, follow_low_a=True) if one.worst <= 1)
    assert in_tune.strips == 1
    assert in_tune.tape_cents[HOLES.index("D")] > 0
