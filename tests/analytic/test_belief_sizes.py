"""The estimates of a belief, as `docs/theory/fitting.md` states them; its questions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analytic.test_belief import heard_take, straight_tables
from canebench.base.errors import InputError
from canebench.base.fingering import HOLES
from canebench.base.notes import LOW_A, LOW_G, NOTES, C, E
from canebench.base.setting import Setting
from canebench.fitting.belief import Belief, believed
from canebench.fitting.effects import PITCH, SEAT, TAPE

_NINE = len(NOTES)
_LOW, _MIDDLE, _HIGH = 0, _NINE // 2, _NINE - 1
_SEAT = straight_tables().seat(1.0)


def _parts(covariance: np.ndarray) -> tuple[float, float, float]:
    """Standard deviations of what is common, of what grows along the scale to its ends, and of each note.

    Three numbers of the covariance tell them; that of the two ends, where the slope is opposite, confirms.
    """
    common = covariance[_LOW, _MIDDLE]
    each = covariance[_MIDDLE, _MIDDLE] - common
    along = covariance[_HIGH, _HIGH] - common - each
    assert covariance[_LOW, _HIGH] == pytest.approx(common - along, abs=1e-9)
    assert covariance[_MIDDLE, _HIGH] == pytest.approx(common, abs=1e-9)
    assert covariance[_HIGH // 4, _HIGH // 4] == pytest.approx(common + along / 4 + each)
    return common**0.5, max(along, 0.0) ** 0.5, each**0.5


def test_before_the_first_take() -> None:
    """Pitches: 100 cents in common, 15 along the scale, 10 each. The seat: 40, 30 and 15 % of its table."""
    start = believed(straight_tables(), [])
    assert _parts(start.covariance[PITCH, PITCH]) == pytest.approx((100.0, 15.0, 10.0))
    assert _parts(start.covariance[SEAT, SEAT]) == pytest.approx((0.4, 0.3, 0.15))
    tape = start.covariance[TAPE, TAPE]
    np.testing.assert_allclose(tape, 0.8**2 * np.eye(len(HOLES)))
    _, pinched = start.effect(Setting(), Setting(pinches=1))
    np.testing.assert_allclose(pinched, 0.7 * straight_tables().pinch_cents)
    # Nothing of one says anything of another.
    blocks = (PITCH, SEAT, TAPE, slice(TAPE.stop, None))
    assert not any(start.covariance[a, b].any() for a in blocks for b in blocks if a is not b)
    assert not start.doubtful
    assert not start.silent_seat


def test_before_the_first_take_every_effect_is_the_tables_own() -> None:
    tables = straight_tables()
    start = believed(tables, [])
    then = Setting(seat_mm=1.0, tape_mm={C: 2.0}, pinches=2)
    wanted = tables.seat(1.0) - tables.tape(C, 2.0) + 2 * tables.pinch_cents
    np.testing.assert_allclose(start.predict([Setting(), then])[0], [np.zeros(_NINE), wanted])
    np.testing.assert_allclose(start.effect(Setting(), then)[0], wanted)


def test_from_take_to_take_a_reed_drifts() -> None:
    """By 2 cents in common, 0.7 along the scale and 0.5 each; nothing else of it grows unsure."""
    first = believed(straight_tables(), [heard_take(np.zeros(_NINE))])
    grown = first._waited(heard_take(np.zeros(_NINE))).covariance - first.covariance
    assert _parts(grown[PITCH, PITCH]) == pytest.approx((2.0, 0.7, 0.5))
    grown[PITCH, PITCH] = 0.0
    assert not grown.any()


@pytest.mark.parametrize(
    ("before", "now", "warmer"), [(10.0, 20.0, 10.0), (20.0, 17.0, -3.0), (0.0, 1.0, 1.0), (None, 20.0, 0.0)]
)
def test_a_room_sharpens_all_notes_by_so_much_a_degree(
    before: float | None, now: float | None, warmer: float
) -> None:
    """By 1.7 cents, give or take 1; where one of the two was not told, by nothing known."""
    for one, then, degrees in ((before, now, warmer), (now, before, -warmer)):
        first = believed(straight_tables(), [replace(heard_take(np.zeros(_NINE)), room_degc=one)])
        waited = first._waited(replace(heard_take(np.zeros(_NINE)), room_degc=then))
        np.testing.assert_allclose((waited.mean - first.mean)[PITCH], 1.7 * degrees)
        np.testing.assert_array_equal(waited.mean[SEAT.start :], first.mean[SEAT.start :])
        drift = (waited.covariance - first.covariance)[PITCH, PITCH]
        assert _parts(drift) == pytest.approx((np.hypot(2.0, degrees), 0.7, 0.5))


def test_one_breath_differs_from_the_next() -> None:
    """By 2 cents in common and 1 each: of a note read without doubt no more is known of the reed."""
    covariance = believed(straight_tables(), [heard_take(np.zeros(_NINE), sd=0.0)]).covariance[PITCH, PITCH]
    common, each = _parts_nearly(covariance)
    assert common == pytest.approx(2.0, rel=0.05)
    assert each == pytest.approx(1.0, rel=0.05)
    blurred = believed(straight_tables(), [heard_take(np.zeros(_NINE), sd=3.0)]).covariance[PITCH, PITCH]
    assert _parts_nearly(blurred)[1] == pytest.approx((1.0**2 + 3.0**2) ** 0.5, rel=0.1)


def _parts_nearly(covariance: np.ndarray) -> tuple[float, float]:
    """Of a covariance that what was thought before still shapes a little: by the mean of its sides."""
    common = float(np.mean(covariance[~np.eye(_NINE, dtype=bool)]))
    return common**0.5, float(np.mean(np.diag(covariance)) - common) ** 0.5


def _heard(setting: Setting) -> Belief:
    """A reed of which all is known, heard in this setting."""
    found = believed(straight_tables(), [heard_take(np.zeros(_NINE), setting)])
    return replace(found, covariance=np.zeros_like(found.covariance))


@pytest.mark.parametrize("covered_mm", [0.5, 1.0, 2.0])
def test_hands_miss_a_seat_by_a_tenth_and_a_strip_by_a_little_more(covered_mm: float) -> None:
    """0.1 mm and 0.15 mm, whichever way, of every strip that is laid; both add up as independent slips do."""
    tables, then = straight_tables(), Setting(seat_mm=-0.25, tape_mm={C: covered_mm, E: covered_mm})
    found = _heard(Setting()).predict([then])[1][0]
    seat, on_c, on_e = 0.1 * _SEAT, 0.15 * tables.tape_per_mm(C, 1.0), 0.15 * tables.tape_per_mm(E, 1.0)
    np.testing.assert_allclose(found, sum(np.outer(one, one) for one in (seat, on_c, on_e)), atol=1e-12)
    assert not _heard(then).predict([replace(then, tape_mm={C: covered_mm})])[1].any()


def test_what_hands_miss_waits_with_the_take_after_them() -> None:
    still = heard_take(np.zeros(_NINE))
    first = believed(straight_tables(), [still])
    moved = first._waited(replace(still, setting=Setting(seat_mm=1.0))).covariance
    waited = first._waited(still).covariance
    np.testing.assert_allclose((moved - waited)[PITCH, PITCH], np.outer(0.1 * _SEAT, 0.1 * _SEAT))


def test_no_change_is_no_effect_and_without_doubt() -> None:
    """Nor does rounding make of a doubt of nought what has no root."""
    here = Setting(seat_mm=1.0, tape_mm={C: 2.0})
    known = believed(straight_tables(), [heard_take(np.zeros(_NINE), here)])
    for then in (here, Setting()):
        assert [part.any() for part in known.effect(here, then)] == [then is not here] * 2
    rounded = replace(known, covariance=-1e-18 * np.eye(known.mean.size))
    assert not rounded.effect(here, Setting())[1].any()


def _seat_told(*answers: float, sd: float = 0.5) -> Belief:
    """Takes of a seat told 1.5 mm deeper, back, deeper and so on: what came of each, in shares of it."""
    takes = [heard_take(np.zeros(_NINE), sd=sd)]
    for count, answer in enumerate(answers):
        came = takes[-1].cents + answer * (1.5 if count % 2 == 0 else -1.5) * _SEAT
        takes.append(heard_take(came, Setting(seat_mm=0.0 if count % 2 else 1.5), sd=sd))
    return believed(straight_tables(), takes)


def test_after_a_question_the_next_take_counts_as_it_is() -> None:
    """Silent once is asked about, silent again is not, and once more is; and so is a seat that goes wrong."""
    assert [_seat_told(*[0.0] * count).silent_seat for count in (1, 2, 3)] == [True, False, True]
    assert [_seat_told(*[-1.0] * count).doubtful for count in (1, 2, 3)] == [True, False, True]
    assert not any(_seat_told(*[1.0] * count).silent_seat for count in (1, 2, 3))


def test_a_take_that_is_asked_about_gives_the_pitches_anew_and_teaches_no_slope() -> None:
    """It is 200 cents off in the setting told; control: a take that fits is averaged with the one before."""
    start = heard_take(np.zeros(_NINE))
    odd = believed(straight_tables(), [start, heard_take(np.full(_NINE, 200.0), Setting(seat_mm=1.5))])
    assert odd.doubtful
    at_it = odd.predict([Setting(seat_mm=1.5)])[0][0]
    np.testing.assert_allclose(at_it, 200.0, atol=5.0)
    np.testing.assert_allclose(odd.seat_per_mm(0.0)[0], _SEAT, rtol=0.2)
    fits = believed(straight_tables(), [start, heard_take(np.full(_NINE, 3.0))])
    assert not fits.doubtful
    assert np.all((fits.mean[PITCH] > 1.0) & (fits.mean[PITCH] < 2.5))


def test_a_note_that_was_not_played_is_left_out_of_the_surprise() -> None:
    cents = np.where(np.isin(NOTES, LOW_G), np.nan, 0.0)
    found = believed(straight_tables(), [heard_take(cents), heard_take(cents)])
    assert not found.doubtful
    assert np.all(np.isfinite(found.mean))
    assert list(heard_take(cents).played) == [False, *[True] * (_NINE - 1)]


def test_tables_without_a_row_for_each_hole_are_refused() -> None:
    tables = straight_tables()
    with pytest.raises(InputError, match=r"tape_mm: shape \(2,\) was given; shape \(8, 2\) is needed"):
        replace(tables, tape_mm=tables.tape_mm[0])


def test_what_tables_were_asked_changes_nothing_of_them() -> None:
    """They know again what they worked out once; others made of them do not know it wrongly."""
    tables = straight_tables()
    same, said = replace(tables), repr(tables)
    np.testing.assert_allclose(tables.seat(1.0), _SEAT)
    np.testing.assert_allclose(replace(tables, seat_cents=2 * tables.seat_cents).seat(1.0), 2 * _SEAT)
    assert tables == same
    assert repr(tables) == said


def test_each_act_has_its_own_columns() -> None:
    """Pitches always; of a bare hole, a seat at the zero point and a reed that was not pinched, nothing."""
    tables = straight_tables()
    columns = {
        "seat": (Setting(seat_mm=1.0), set(range(SEAT.start, SEAT.stop))),
        "tape": (Setting(tape_mm={LOW_A: 1.0}), {TAPE.stop - 1}),
        "pinch": (Setting(pinches=1), {TAPE.stop}),
    }
    bare = set(np.flatnonzero(tables.design(Setting()).any(axis=0)))
    assert bare == set(range(_NINE))
    for setting, wanted in columns.values():
        assert set(np.flatnonzero(tables.design(setting).any(axis=0))) - bare == wanted
