"""The plan's optimum against linear programming and bounded least squares: other ways to the same setting."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import linprog, lsq_linear, nnls

from canebench.base.fingering import HOLES, notes_through
from canebench.base.notes import LOW_A, NOTES
from canebench.fitting.optimum import _SPARING, CHOICES, SettingCandidate, _Problem, best_by_strips
from canebench.fitting.response import Response

_TOLERANCE = np.full(len(NOTES), 3.0)
_SLOPES = np.array([3.7, 5.4, 7.4, 9.6, 11.3, 14.4, 18.0, 19.5, 22.0])
_LOW_A = NOTES.index(LOW_A)
_SEEDS = range(20)
_ALL_HOLES = tuple(range(len(HOLES)))
#: How far above the linear programme's optimum ours may be where nothing is in tune.
_NEARLY = 1.12


def made_response(seed: int, *, seats: int = 21, spread_cents: float = 6.0) -> Response:
    """A chanter in numbers only: notes up to 20 cents off, convex tape, small effects on other notes."""
    rng = np.random.default_rng(seed)
    seat_mm = 0.25 * (np.arange(seats) - seats // 2)
    levels = np.linspace(0.0, 1.0, 6)
    own = levels**1.6 * rng.uniform(8, 18, (len(HOLES), 1))
    cross = np.zeros((len(HOLES), len(NOTES)))
    for i, hole in enumerate(HOLES):
        for note in notes_through(hole):
            cross[i, NOTES.index(note)] = 1.0 if note == hole else rng.uniform(0.02, 0.2)
    return Response(
        seat_mm=seat_mm,
        bare_cents=rng.normal(3, spread_cents, len(NOTES)) + seat_mm[:, None] * _SLOPES,
        reach_mm=np.outer(np.full(len(HOLES), 3.0), levels),
        flatter_cents=own[:, :, None] * cross[:, None, :],
    )


def least_worst(
    response: Response, *, follow_low_a: bool, sign: float = 1.0, holes: tuple[int, ...] = _ALL_HOLES
) -> float:
    """The smallest largest deviation over tolerance, by a linear programme for every seat step."""
    takes = response.cross - (response.cross[[_LOW_A]] if follow_low_a else 0.0)
    takes = sign * takes[:, list(holes)] / _TOLERANCE[:, None]
    most, ones = response.own_cents[list(holes), -1], np.ones((len(NOTES), 1))
    found = []
    for row in response.bare_cents:
        bare = (row - (row[_LOW_A] if follow_low_a else 0.0)) / _TOLERANCE
        solved = linprog(
            [*np.zeros(len(holes)), 1.0],
            A_ub=np.block([[-takes, -ones], [takes, -ones]]),
            b_ub=np.concatenate([-bare, bare]),
            bounds=[*((0.0, limit) for limit in most), (0.0, None)],
        )
        found.append(solved.fun)
    return float(min(found))


def turned_seat(response: Response) -> Response:
    """The same chanter as if a deeper seat flattened: a slip of sign in the table."""
    middle = response.bare_cents[response.seat_mm.size // 2]
    return replace(response, bare_cents=2 * middle - response.bare_cents)


def best(response: Response, *, follow_low_a: bool) -> SettingCandidate:
    return best_by_strips(response, _TOLERANCE, follow_low_a=follow_low_a)[-1]


def as_good(ours: float, reachable: float) -> bool:
    """The guard: never better than the programme, in tune where it is, and else nearly as good."""
    return reachable - 1e-6 <= ours <= max(1.0, _NEARLY * reachable)


@pytest.mark.parametrize("follow_low_a", [True, False])
@pytest.mark.parametrize("seed", _SEEDS)
def test_in_tune_wherever_that_can_be_and_else_nearly_the_best(seed: int, *, follow_low_a: bool) -> None:
    response = made_response(seed)
    reachable = least_worst(response, follow_low_a=follow_low_a)
    assert as_good(best(response, follow_low_a=follow_low_a).worst, reachable)


def test_a_seat_or_tape_that_worked_the_wrong_way_would_be_noticed() -> None:
    """The control: seat steps or tape of the other sign fail the guard on most chanters."""
    seat, tape, seeds = 0, 0, _SEEDS[:10]
    for seed in seeds:
        response = made_response(seed)
        truth = least_worst(response, follow_low_a=False)
        wrong = turned_seat(response)
        ours = best(wrong, follow_low_a=False)
        # What the setting chosen on the wrong table does on the right one.
        left = response.bare_cents[ours.seat] - response.cross @ ours.tape_cents
        seat += not as_good(float(np.max(np.abs(left) / _TOLERANCE)), truth)
        sharpening = least_worst(response, follow_low_a=False, sign=-1.0)
        tape += not as_good(best(response, follow_low_a=False).worst, sharpening)
    assert seat > len(seeds) / 2
    assert tape > len(seeds) / 2


def _least_squares(bare: np.ndarray, takes: np.ndarray, most: float | np.ndarray) -> np.ndarray:
    """Bounded least squares with the same small price on tape."""
    design = np.vstack([takes, np.sqrt(_SPARING) * np.eye(takes.shape[1])])
    target = np.concatenate([bare, np.zeros(takes.shape[1])])
    if np.all(np.isinf(most)):
        return np.asarray(nnls(design, target)[0])
    return np.asarray(lsq_linear(design, target, bounds=(0.0, most), tol=1e-12).x)


def _costs(problem: _Problem, bare: np.ndarray, tape: np.ndarray) -> np.ndarray:
    return np.asarray(np.sum(problem.left(bare, tape) ** 2, axis=-1) + _SPARING * np.sum(tape**2, axis=-1))


@pytest.mark.parametrize("follow_low_a", [True, False])
@pytest.mark.parametrize("seed", range(6))
def test_the_choices_hold_the_least_squares_of_every_seat(seed: int, *, follow_low_a: bool) -> None:
    """The best of the 256 is what non-negative least squares finds, for each seat step."""
    problem = _Problem.of(made_response(seed, seats=5), _TOLERANCE, follow_low_a=follow_low_a)
    problem = replace(problem, most=np.full(len(HOLES), np.inf))
    tape, _worst = problem.all_choices()
    for row, bare in enumerate(problem.bare):
        wanted = _least_squares(bare, problem.takes, np.inf)
        costs = _costs(problem, bare, tape[row])
        at = int(np.argmin(costs))
        assert costs[at] == pytest.approx(_costs(problem, bare, wanted), rel=1e-6)
        assert tape[row, at] == pytest.approx(wanted, abs=1e-5)


def test_where_tape_runs_out_the_least_squares_are_nearly_met() -> None:
    """Holes that would need more than is allowed are held at the most: within a tenth of the bounded best."""
    short = []
    for seed in range(6):
        problem = _Problem.of(made_response(seed, seats=5), _TOLERANCE, follow_low_a=False)
        tape, _worst = problem.all_choices()
        for row, bare in enumerate(problem.bare):
            wanted = _costs(problem, bare, _least_squares(bare, problem.takes, problem.most))
            found = float(np.min(_costs(problem, bare, tape[row])))
            assert found >= wanted - 1e-6
            assert found <= 1.1 * wanted + 1e-9
            short.append(bool(np.any(tape[row] >= problem.most)))
    assert any(short)


def test_a_choice_left_out_would_be_noticed() -> None:
    """The control: without the choices of two strips or more, least squares is missed."""
    problem = _Problem.of(made_response(1, seats=5), _TOLERANCE, follow_low_a=False)
    tape, _worst = problem.all_choices()
    few = tape[:, CHOICES.sum(axis=1) < 2]
    missed = [
        float(np.min(_costs(problem, bare, few[row])))
        > 1.1 * float(_costs(problem, bare, _least_squares(bare, problem.takes, problem.most)))
        for row, bare in enumerate(problem.bare)
    ]
    assert any(missed)


@pytest.mark.parametrize("follow_low_a", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_no_fewer_strips_would_do(seed: int, *, follow_low_a: bool) -> None:
    """Every choice of fewer holes, at every seat step, is out of tune by the linear programme as well."""
    response = made_response(seed, seats=5, spread_cents=4.0)
    found = best_by_strips(response, _TOLERANCE, follow_low_a=follow_low_a)
    in_tune = [one.strips for one in found if one.worst <= 1]
    fewest = min(in_tune, default=4)
    for count in range(min(fewest, 4)):
        reachable = min(
            least_worst(response, follow_low_a=follow_low_a, holes=holes)
            for holes in combinations(_ALL_HOLES, count)
        )
        # A border case may be missed by a hair, never by more.
        assert reachable > 0.97


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
    alone = replace(response, bare_cents=bare)
    in_tune = next(one for one in best_by_strips(alone, _TOLERANCE, follow_low_a=True) if one.worst <= 1)
    assert in_tune.strips == 1
    assert in_tune.tape_cents[HOLES.index("D")] > 0
