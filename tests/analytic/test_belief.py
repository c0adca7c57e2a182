"""The belief of a reed in a chanter: against closed forms, and against chanters that it did not think up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from canebench.base.errors import InputError
from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.setting import Setting
from canebench.fitting.belief import BREATH_CENTS, Belief, HeardTake, believed
from canebench.fitting.effects import EffectTables

_NINE = len(NOTES)
_HIGH, _LOW = NOTES.index(HIGH_A), NOTES.index(LOW_A)
#: Cents for a millimetre of seat, and for one of tape on the hole's own note.
_SEAT, _TAPE = np.linspace(4.0, 12.0, _NINE), 3.0


def straight_tables() -> EffectTables:
    """Straight lines, so that every effect is known by heart."""
    seats = np.array([-4.0, 4.0])
    tape = np.tile([0.0, 4.0], (len(HOLES), 1))
    flatter = np.zeros((len(HOLES), 2, _NINE))
    for row, hole in enumerate(HOLES):
        flatter[row, 1, NOTES.index(hole)] = 4.0 * _TAPE
    return EffectTables(
        seat_mm=seats,
        seat_cents=seats[:, None] * _SEAT,
        tape_mm=tape,
        tape_cents=flatter,
        pinch_cents=np.full(_NINE, 2.0),
    )


def heard_take(cents: np.ndarray, setting: Setting | None = None, sd: float = 0.5) -> HeardTake:
    return HeardTake(setting=setting or Setting(), cents=cents, sd_cents=np.full(_NINE, sd))


def _batch(tables: EffectTables, heard: HeardTake, prior: Belief) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance after one take by least squares in one piece (Gelman et al. 2013, eq. 14.4)."""
    noise = np.diag(heard.sd_cents**2 + BREATH_CENTS[1] ** 2) + BREATH_CENTS[0] ** 2
    rows = tables.design(heard.setting)
    precision = np.linalg.inv(prior.covariance) + rows.T @ np.linalg.solve(noise, rows)
    pull = np.linalg.solve(prior.covariance, prior.mean) + rows.T @ np.linalg.solve(noise, heard.cents)
    return np.linalg.solve(precision, pull), np.linalg.inv(precision)


def test_one_take_is_least_squares() -> None:
    """The filter's update against the normal equations, which it does not use."""
    tables = straight_tables()
    take = heard_take(np.arange(9.0) - 4.0, Setting(seat_mm=1.0, tape_mm={"C": 2.0}))
    found = believed(tables, [take])
    mean, covariance = _batch(tables, take, believed(tables, []))
    np.testing.assert_allclose(found.mean, mean, atol=1e-8)
    np.testing.assert_allclose(found.covariance, covariance, atol=1e-7)


@pytest.mark.parametrize("scale", [0.6, 1.0, 1.5])
def test_seat_moves_teach_what_the_seat_does(scale: float) -> None:
    """Of a chanter whose seat does so much of what the table says; control: before it, the table's own."""
    seats = (0.0, 1.0, -1.0, 1.5, -1.5, 0.5)
    takes = [heard_take(scale * seat * _SEAT, Setting(seat_mm=seat)) for seat in seats]
    rate, sd = believed(straight_tables(), takes).seat_per_mm(0.0)
    assert np.all(np.abs(rate - scale * _SEAT) < 2 * sd + 0.1 * _SEAT)
    before, wide = believed(straight_tables(), takes[:1]).seat_per_mm(0.0)
    np.testing.assert_allclose(before, _SEAT, rtol=0.02)
    assert np.all(sd < 0.6 * wide)


def test_tape_teaches_its_own_hole_and_no_other() -> None:
    bare = np.full(_NINE, 5.0)
    taped = bare.copy()
    taped[NOTES.index("C")] -= 2 * 2.0 * _TAPE
    found = believed(straight_tables(), [heard_take(bare), heard_take(taped, Setting(tape_mm={"C": 2.0}))])
    moved, _ = found.effect(Setting(), Setting(tape_mm={"C": 1.0}))
    assert moved[NOTES.index("C")] < -1.2 * _TAPE
    other, _ = found.effect(Setting(), Setting(tape_mm={"E": 1.0}))
    assert other[NOTES.index("E")] == pytest.approx(-_TAPE, rel=0.1)


def test_a_note_that_was_not_played_stays_vague() -> None:
    cents = np.zeros(_NINE)
    cents[NOTES.index("F")] = np.nan
    _, covariance = believed(straight_tables(), [heard_take(cents)]).predict([Setting()])
    sd = np.sqrt(np.diag(covariance[0]))
    assert sd[NOTES.index("F")] > 3 * sd[NOTES.index("E")]


def test_intervals_hold_for_chanters_of_its_own_kind() -> None:
    """Drawn from its own assumptions, 90 % intervals hold 90 %; control: a tenth as wide do not."""
    rng, tables = np.random.default_rng(31), straight_tables()
    start = believed(tables, [])
    root = np.linalg.cholesky(start.covariance + 1e-12 * np.eye(start.mean.size))
    held, narrow = [], []
    for _ in range(400):
        truth = start.mean + root @ rng.normal(size=start.mean.size)
        first = Setting()
        breath = BREATH_CENTS[0] * rng.normal() + np.hypot(BREATH_CENTS[1], 0.5) * rng.normal(size=_NINE)
        take = heard_take(tables.design(first) @ truth + breath)
        then = Setting(seat_mm=float(rng.uniform(-1, 1)), tape_mm={"E": float(rng.uniform(0.5, 3))})
        belief = replace(believed(tables, [take]), heard=None)
        cents, covariance = belief.predict([then])
        off = np.abs(cents[0] - tables.design(then) @ truth)
        sd = np.sqrt(np.diag(covariance[0]))
        held.append(off <= 1.645 * sd)
        narrow.append(off <= 0.1645 * sd)
    assert 0.87 < np.mean(held) < 0.93
    assert np.mean(narrow) < 0.25


def test_a_warmer_room_sharpens_all_and_teaches_nothing_of_the_seat() -> None:
    """Told 10 degrees warmer, 17 cents sharper beside 1 mm deeper; control: untold, the seat is blamed."""
    heard = [
        [
            replace(heard_take(np.zeros(_NINE)), room_degc=10.0),
            replace(heard_take(_SEAT + 17.0, Setting(seat_mm=1.0)), room_degc=warm),
        ]
        for warm in (20.0, None)
    ]
    told, untold = (believed(straight_tables(), takes).seat_per_mm(0.0)[0] for takes in heard)
    assert np.all(np.abs(told - _SEAT) < 0.25 * _SEAT)
    assert np.mean(untold - _SEAT) > 2 * np.mean(np.abs(told - _SEAT))


def test_a_move_the_wrong_way_is_doubted_and_turns_no_slope() -> None:
    """Told 1 mm deeper and moved 1 mm higher: doubted, and the seat still sharpens; control: told rightly."""
    start = heard_take(np.zeros(_NINE))
    wrong = believed(straight_tables(), [start, heard_take(-2.0 * _SEAT, Setting(seat_mm=2.0))])
    assert wrong.doubtful or wrong.silent_seat
    assert np.all(wrong.seat_per_mm(0.0)[0] > 0.4 * _SEAT)
    right = believed(straight_tables(), [start, heard_take(2.0 * _SEAT, Setting(seat_mm=2.0))])
    assert not right.doubtful
    assert not right.silent_seat


@pytest.mark.parametrize(("answer", "silent"), [(0.0, True), (0.15, True), (0.6, False), (1.0, False)])
def test_a_seat_that_does_not_answer_is_told(answer: float, *, silent: bool) -> None:
    """A reed on the bottom moves nothing, or nearly."""
    takes = [heard_take(np.zeros(_NINE)), heard_take(answer * 1.5 * _SEAT, Setting(seat_mm=1.5))]
    assert believed(straight_tables(), takes).silent_seat is silent


def test_two_takes_of_one_setting_are_surer_than_one() -> None:
    take = heard_take(np.full(_NINE, 3.0))
    one, two = believed(straight_tables(), [take]), believed(straight_tables(), [take, take])
    high = np.zeros(_NINE)
    high[_HIGH], high[_LOW] = 1.0, -1.0
    octave = [high @ belief.predict([Setting()])[1][0] @ high for belief in (one, two)]
    assert octave[1] < 0.75 * octave[0]


def test_tables_of_wrong_shape_are_refused() -> None:
    with pytest.raises(InputError, match="pinch_cents"):
        replace(straight_tables(), pinch_cents=np.zeros(8))
