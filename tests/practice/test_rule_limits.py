"""How far each rule lets the seat travel, and what tape may do: common practice; sizes are our estimates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, LOW_A, NOTES, C, E
from canebench.base.setting import Setting
from canebench.fitting.acts import Act
from canebench.fitting.limits import Limits
from canebench.fitting.rule_bounds import bounds_of
from practice.bench_cases import chanter

if TYPE_CHECKING:
    from canebench.fitting.sizing import Allowed

_BOTTOM_MM = 3.0
_DEEPER, _RAISE = Act.SEAT_DEEPER, Act.RAISE_WITH_HEMP


def _allowed(
    rule: Act,
    *,
    tilt: float = 0.0,
    rest: dict[str, float] | None = None,
    present: Setting | None = None,
    earlier: Setting | None = None,
    limits: Limits | None = None,
    sd: float = 0.3,
    notes: tuple[str, ...] = NOTES,
    follow_low_a: bool = False,
) -> Allowed:
    """A beam about zero, or where the drones follow low A, with low A at zero."""
    return bounds_of(
        rule,
        chanter(tilt=tilt, height=tilt / 2 if follow_low_a else 0.0, rest=rest, sd=sd, notes=notes),
        present=present or Setting(),
        earlier=earlier,
        limits=limits or Limits(),
        deepest_mm=_BOTTOM_MM,
        hole_mm=[6.0] * len(HOLES),
        follow_low_a=follow_low_a,
    )


@pytest.mark.parametrize(
    ("rule", "tilt", "travel", "seat_mm", "seats_mm"),
    [
        (_DEEPER, -20.0, {"deeper_mm": 1.0}, 0.0, [0.25, 0.5, 0.75, 1.0]),
        (_DEEPER, -20.0, {"deeper_mm": 1.0}, 0.5, [0.75, 1.0, 1.25, 1.5]),
        (_DEEPER, -20.0, {"deeper_mm": 1.0, "step_mm": 0.4}, 0.0, [0.4, 0.8]),
        (_DEEPER, -20.0, {"deeper_mm": 1.0}, 2.5, [2.75, 3.0]),
        (_RAISE, 20.0, {"higher_mm": 0.5}, 0.0, [-0.25, -0.5]),
        (_RAISE, 20.0, {"higher_mm": 0.6, "deeper_mm": 0.0}, 1.0, [0.75, 0.5]),
        (_RAISE, 20.0, {"higher_mm": 0.5, "step_mm": 0.05}, 0.0, [-0.25, -0.5]),
    ],
)
def test_the_seat_travels_in_steps_from_where_it_is(
    rule: Act, tilt: float, travel: dict[str, float], seat_mm: float, seats_mm: list[float]
) -> None:
    """As far as is asked or as there is room, and by no steps that hands cannot make."""
    found = _allowed(rule, tilt=tilt, present=Setting(seat_mm=seat_mm), limits=Limits(**travel))  # type: ignore[arg-type]
    assert found.seats_mm == pytest.approx(seats_mm)


@pytest.mark.parametrize(("tilt", "way"), [(-4.0, 1), (4.0, -1)])
def test_beside_another_act_the_seat_goes_the_way_of_the_octave(tilt: float, way: int) -> None:
    seats = _allowed(Act.TAPE, tilt=tilt, limits=Limits(deeper_mm=0.5, higher_mm=0.5)).seats_mm
    assert seats == pytest.approx([0.25 * way, 0.5 * way])


@pytest.mark.parametrize(
    ("rule", "tilt", "seat_mm", "must"),
    [
        (_DEEPER, -9.0, 0.0, True),
        (_RAISE, 9.0, 0.0, True),
        (_DEEPER, -7.0, 0.0, False),
        (_DEEPER, -9.0, _BOTTOM_MM, False),
        (Act.TAPE, -9.0, 0.0, False),
    ],
)
def test_a_clearly_wrong_octave_must_move_the_seat(
    rule: Act, tilt: float, seat_mm: float, *, must: bool
) -> None:
    """From 8 cents, where the rules ask for the seat and it has room."""
    assert _allowed(rule, tilt=tilt, present=Setting(seat_mm=seat_mm)).must_move is must


def test_a_move_that_goes_on_the_same_way_is_free() -> None:
    """It was raised by 1 mm, or not moved at all, and is to be raised: nothing is taken back."""
    for earlier in (Setting(), Setting(seat_mm=-1.0)):
        found = _allowed(_RAISE, tilt=5.0, present=Setting(seat_mm=-1.0), earlier=earlier, sd=1.5)
        assert found.seats_mm


def test_what_is_taken_back_is_told_by_the_last_move_not_by_where_the_seat_is() -> None:
    """It sits deep, was raised to there, and is to go deeper again; and the other way round."""
    now, before = Setting(seat_mm=1.0), Setting(seat_mm=2.0)
    assert not _allowed(_DEEPER, tilt=-5.0, sd=1.5, present=now, earlier=before).seats_mm
    assert _allowed(_RAISE, tilt=5.0, sd=1.5, present=now, earlier=before).seats_mm


@pytest.mark.parametrize(("tilt", "grows"), [(-20.0, False), (-6.0, True)])
def test_no_tape_hides_an_octave_that_the_seat_cannot_mend(tilt: float, *, grows: bool) -> None:
    """The seat is at its bottom. Control: an octave less far out leaves the tape free."""
    found = _allowed(_DEEPER, tilt=tilt, rest={C: 30.0}, present=Setting(seat_mm=_BOTTOM_MM))
    assert not found.seats_mm
    assert (C in found.grow) is grows


@pytest.mark.parametrize(
    ("cents", "by_seat", "by_tape"), [(1.5, False, False), (2.5, True, False), (5.5, True, True)]
)
def test_beside_a_move_of_the_seat_a_little_sharp_is_enough_for_tape(
    cents: float, *, by_seat: bool, by_tape: bool
) -> None:
    """C, whose tolerance is 5 cents: what is a little sharp may be more so once the seat has moved."""
    rest = {C: cents - chanter(tilt=-4.0)[C].cents}
    assert (C in _allowed(_DEEPER, tilt=-4.0, rest=rest).grow) is by_seat
    assert (C in _allowed(Act.TAPE, tilt=-4.0, rest=rest).grow) is by_tape


@pytest.mark.parametrize(("share", "most_mm"), [(0.5, 3.0), (0.25, 1.5)])
def test_tape_covers_no_more_of_a_hole_than_asked(share: float, most_mm: float) -> None:
    found = _allowed(Act.TAPE, limits=Limits(tape_share=share))
    assert list(found.tape_most_mm) == [most_mm] * len(HOLES)


def test_strips_are_counted_by_holes() -> None:
    """A hole that has its strip may take more of it; another only while there is one to spare."""
    taped, rest = Setting(tape_mm={E: 1.0}), {E: 12.0, C: 12.0}
    full = _allowed(Act.TAPE, rest=rest, present=taped, limits=Limits(most_strips=1))
    assert (E in full.grow, C in full.grow) == (True, False)
    spare = _allowed(Act.TAPE, rest=rest, present=taped, limits=Limits(most_strips=2))
    assert (E in spare.grow, C in spare.grow) == (True, True)


def test_tape_stays_on_what_is_not_flat_beyond_its_tolerance_or_was_not_heard() -> None:
    """C may be 5 cents flat."""
    taped = Setting(tape_mm={C: 1.0})
    for cents in (-4.0, -5.0):
        assert not _allowed(Act.TAPE, rest={C: cents}, present=taped).shrink
        assert C not in _allowed(Act.TAPE, rest={C: -cents}).grow
    assert list(_allowed(Act.TAPE, rest={C: -6.0}, present=taped).shrink) == [C]
    assert not _allowed(Act.TAPE, rest={C: -6.0}, present=taped, notes=(LOW_A, E, HIGH_A)).shrink


@pytest.mark.parametrize(("flat", "grows"), [(("B", C, "D", E), True), (("B", C, "D"), False), ((C,), False)])
def test_low_a_is_the_sharp_one_where_most_above_it_are_flat(flat: tuple[str, ...], *, grows: bool) -> None:
    """Low G does not count: of the seven others four must be flat. Half way down is what is neither."""
    found = _allowed(
        Act.BREAK_IN, rest=dict.fromkeys(flat, -10.0), follow_low_a=True, present=Setting(tape_mm={E: 1.0})
    )
    assert (LOW_A in found.grow) is grows
    assert (E in found.shrink) is grows
