"""The belief of a reed in a chanter: against closed forms, and against chanters that it did not think up."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import multivariate_normal

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


@pytest.mark.parametrize(
    ("answer", "silent", "doubtful"), [(0.1, True, False), (0.5, False, False), (-0.1, True, False)]
)
def test_a_seat_that_stayed_is_asked_about_and_no_take_doubted(
    answer: float, *, silent: bool, doubtful: bool
) -> None:
    takes = [heard_take(np.zeros(_NINE)), heard_take(answer * 1.5 * _SEAT, Setting(seat_mm=1.5))]
    found = believed(straight_tables(), takes)
    assert (found.silent_seat, found.doubtful) == (silent, doubtful)


def _density(belief: Belief, setting: Setting, cents: np.ndarray) -> float:
    """The logarithm of the density of a take in a setting: what is predicted, a take's drift, a breath."""
    mean, covariance = belief.predict([setting])
    along = np.linspace(-1.0, 1.0, _NINE)
    drift = 2.0**2 + 0.7**2 * np.outer(along, along) + 0.5**2 * np.eye(_NINE)
    breath = BREATH_CENTS[0] ** 2 + (0.5**2 + BREATH_CENTS[1] ** 2) * np.eye(_NINE)
    return float(multivariate_normal(mean[0], covariance[0] + drift + breath).logpdf(cents))


@pytest.mark.parametrize("from_mm", [0.0, 1.0])
@pytest.mark.parametrize(
    ("travel_mm", "way", "third", "odds", "between", "what"),
    [
        (1.2, 0, -1, 20.0, (0.0, 1.0), "silent_seat"),
        (1.2, -1, 0, 50.0, (-1.0, 0.0), "doubtful"),
        (0.4, -1, 0, 50.0, (-2.5, -0.5), "doubtful"),
    ],
)
def test_a_seat_stayed_or_turned_by_the_odds_of_its_take(
    from_mm: float,
    travel_mm: float,
    way: int,
    third: int,
    odds: float,
    between: tuple[float, float],
    what: str,
) -> None:
    """Odds of 20 that it stayed, of 50 that it turned, by a library's densities; just short of them: not."""
    start = believed(straight_tables(), [heard_take(from_mm * _SEAT, Setting(seat_mm=from_mm))])
    told, other, neither = (Setting(seat_mm=from_mm + share * travel_mm) for share in (1, way, third))

    def cents(share: float) -> np.ndarray:
        return (from_mm + share * travel_mm) * _SEAT

    def beyond(share: float) -> float:
        of_told, of_other, of_neither = (
            _density(start, setting, cents(share)) for setting in (told, other, neither)
        )
        return of_other - max(of_told + math.log(odds), of_neither)

    edge = brentq(beyond, *between)
    step = np.copysign(1e-4, beyond(edge + 0.01))
    for share, found in ((edge + step, True), (edge - step, False)):
        after = start.after(heard_take(cents(share), told))
        assert getattr(after, what) is found


@pytest.mark.parametrize("octave", [0.0, 1.0])
def test_a_seat_that_moved_all_notes_and_no_octave_answered(octave: float) -> None:
    """Nine notes 12 cents up are an answer, whatever the octave did. Control: none of them moved."""
    mean = np.full(_NINE, 1.5 * float(np.mean(_SEAT)))
    up = mean + octave * (1.5 * _SEAT - mean)
    for cents, told in ((up, False), (np.zeros(_NINE), True)):
        takes = [heard_take(np.zeros(_NINE)), heard_take(cents, Setting(seat_mm=1.5))]
        assert believed(straight_tables(), takes).silent_seat is told


def test_a_warmer_room_is_no_answer_of_the_seat() -> None:
    """Ten degrees, 17 cents sharper: what the air does. Control: untold, it looks like an answer."""
    for warm, silent in ((20.0, True), (None, False)):
        takes = [
            replace(heard_take(np.zeros(_NINE)), room_degc=10.0),
            replace(heard_take(np.full(_NINE, 17.0), Setting(seat_mm=1.5)), room_degc=warm),
        ]
        assert believed(straight_tables(), takes).silent_seat is silent


@pytest.mark.parametrize(("answer", "silent"), [(0.0, True), (1.0, False)])
def test_a_seat_is_heard_beside_tape_that_was_changed_with_it(answer: float, *, silent: bool) -> None:
    """The strip took its six cents off one note; whether the seat moved, eight others tell."""
    strip = np.where(np.arange(_NINE) == NOTES.index("B"), -6.0, 0.0)
    moved = heard_take(answer * 1.5 * _SEAT + strip, Setting(seat_mm=1.5, tape_mm={"B": 0.5}))
    assert believed(straight_tables(), [heard_take(np.zeros(_NINE)), moved]).silent_seat is silent


@pytest.mark.parametrize(("share", "doubted"), [(0.97, False), (1.03, True)])
def test_a_take_is_doubted_from_four_times_its_usual_surprise(share: float, *, doubted: bool) -> None:
    """The mean square of what is not expected, for each note, by the covariance that is believed."""
    first = believed(straight_tables(), [heard_take(np.zeros(_NINE))])
    waited = first._waited(heard_take(np.zeros(_NINE)))
    rows = straight_tables().design(Setting())
    noise = np.diag(np.full(_NINE, 0.5**2 + BREATH_CENTS[1] ** 2)) + BREATH_CENTS[0] ** 2
    expected = rows @ waited.covariance @ rows.T + noise
    off = np.where(np.arange(_NINE) % 2, 1.0, -1.0)
    off *= np.sqrt(share * 4.0 * _NINE / (off @ np.linalg.solve(expected, off)))
    assert first.after(heard_take(rows @ waited.mean + off)).doubtful is doubted


def _known(setting: Setting) -> Belief:
    """All that can be known of a reed, heard in this setting: what is left is hands."""
    found = believed(straight_tables(), [heard_take(np.zeros(_NINE), setting)])
    return replace(found, covariance=np.zeros_like(found.covariance))


def test_hands_miss_a_seat_and_a_strip_by_some_tenths_of_a_millimetre() -> None:
    """An estimate of ours. What is left as it is, and a strip that comes off, are not missed."""
    bare, taped = Setting(), Setting(tape_mm={"C": 2.0})
    at, then = NOTES.index("C"), Setting(seat_mm=1.0, tape_mm={"C": 2.0})
    by_seat = np.sqrt(np.diag(_known(taped).predict([then])[1][0]))
    assert np.all((by_seat > 0.05 * _SEAT) & (by_seat < 0.2 * _SEAT))
    by_tape = np.sqrt(np.diag(_known(bare).predict([taped])[1][0]))
    assert 0.1 * _TAPE < by_tape[at] < 0.3 * _TAPE
    assert np.count_nonzero(by_tape) == 1
    for before, after in ((bare, bare), (taped, taped), (taped, bare)):
        assert not np.any(_known(before).predict([after])[1])


def test_a_reed_drifts_most_as_a_whole() -> None:
    """From take to take by some two cents, by less in its tilt, least each note by itself: our estimate."""
    first = believed(straight_tables(), [heard_take(np.zeros(_NINE))])
    drift = (first._waited(heard_take(np.zeros(_NINE))).covariance - first.covariance)[:_NINE, :_NINE]
    together = np.sqrt(drift[0, -1] + (drift[0, 0] - drift[_NINE // 2, _NINE // 2]))
    each = np.sqrt(drift[_NINE // 2, _NINE // 2] - together**2)
    tilt = np.sqrt(drift[0, 0] - drift[_NINE // 2, _NINE // 2])
    assert 1.5 < together < 2.5
    assert each < tilt < together / 2


def test_before_a_take_the_pitch_is_unknown_and_the_scale_is_nearly() -> None:
    """Neighbours lie where the scale has them within some 20 cents, the whole anywhere within a tone."""
    _, (covariance,) = believed(straight_tables(), []).predict([Setting()])
    assert 90.0 < np.sqrt(covariance[4, 4]) < 120.0
    assert 12.0 < np.sqrt(covariance[4, 4] + covariance[5, 5] - 2 * covariance[4, 5]) < 20.0
    octave = covariance[_HIGH, _HIGH] + covariance[_LOW, _LOW] - 2 * covariance[_HIGH, _LOW]
    assert 25.0 < np.sqrt(octave) < 35.0


def test_tables_are_half_right_at_first() -> None:
    """What seat, tape and a pinch do is known to a half or so of itself: an estimate of ours."""
    start = believed(straight_tables(), [])
    for after, low, high in (
        (Setting(seat_mm=1.0), 0.4, 0.6),
        (Setting(tape_mm={"C": 2.0}), 0.7, 0.9),
        (Setting(pinches=1), 0.6, 0.8),
    ):
        cents, sd = start.effect(Setting(), after)
        moved = cents != 0
        assert np.all(low * np.abs(cents[moved]) < sd[moved])
        assert np.all(sd[moved] < high * np.abs(cents[moved]))


def test_a_seat_of_another_slope_is_told_about_its_own_depth() -> None:
    """Tables that bend: a millimetre deeper does what it does here, not on the average."""
    straight = straight_tables()
    bent = replace(
        straight,
        seat_mm=np.array([-4.0, 0.0, 4.0]),
        seat_cents=np.array([-4.0, 0.0, 8.0])[:, None] * _SEAT,
        tape_mm=np.tile([0.0, 1.0, 4.0], (len(HOLES), 1)),
        tape_cents=np.repeat(straight.tape_cents, [1, 2], axis=1) * np.array([0.0, 0.1, 1.0])[:, None],
    )
    for depth_mm, times in ((-0.1, 1.0), (0.1, 2.0), (0.0, 1.5)):
        np.testing.assert_allclose(bent.seat_per_mm(depth_mm), times * _SEAT)
    at = NOTES.index("C")
    for covered_mm, rate in ((0.0, 0.4), (0.02, 0.4), (0.9, 0.4), (1.1, 1.2), (1.0, 0.8)):
        assert bent.tape_per_mm("C", covered_mm)[at] == pytest.approx(rate * _TAPE)
    np.testing.assert_allclose(bent.seat(9.0), bent.seat(4.0))
    np.testing.assert_allclose(bent.tape("C", 9.0), bent.tape("C", 4.0))


def test_two_takes_of_one_setting_are_surer_than_one() -> None:
    take = heard_take(np.full(_NINE, 3.0))
    one, two = believed(straight_tables(), [take]), believed(straight_tables(), [take, take])
    high = np.zeros(_NINE)
    high[_HIGH], high[_LOW] = 1.0, -1.0
    octave = [high @ belief.predict([Setting()])[1][0] @ high for belief in (one, two)]
    assert octave[1] < 0.75 * octave[0]


@pytest.mark.parametrize("name", ["seat_cents", "tape_mm", "tape_cents", "pinch_cents"])
def test_tables_of_wrong_shape_are_refused(name: str) -> None:
    tables = straight_tables()
    with pytest.raises(InputError, match=rf"{name}: shape \(.* was given; shape \(.* is needed"):
        replace(tables, **{name: getattr(tables, name)[:-1]})
