"""What each rule allows. Common practice, no source, but for the sizes, which are estimates of ours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.setting import Setting
from canebench.fitting.acts import Act
from canebench.fitting.limits import HIGHEST_MM, Limits
from canebench.fitting.rule_bounds import LEAST_SEAT_MM, MOST_ACTS, bounds_of
from practice.bench_cases import chanter

if TYPE_CHECKING:
    from canebench.fitting.sizing import Allowed

_HOLE_MM = [6.0] * len(HOLES)


def _allowed(
    rule: Act,
    *,
    tilt: float = 0.0,
    rest: dict[str, float] | None = None,
    present: Setting | None = None,
    earlier: Setting | None = None,
    limits: Limits | None = None,
    notes: tuple[str, ...] = NOTES,
    sd: float = 1.0,
    follow_low_a: bool = True,
) -> Allowed:
    beam = chanter(tilt=tilt, height=tilt / 2 if follow_low_a else 0.0, rest=rest, notes=notes, sd=sd)
    return bounds_of(
        rule,
        beam,
        present=present or Setting(),
        earlier=earlier,
        limits=limits or Limits(),
        deepest_mm=3.0,
        hole_mm=_HOLE_MM,
        follow_low_a=follow_low_a,
    )


@pytest.mark.parametrize(
    ("rule", "tilt", "way"), [(Act.SEAT_DEEPER, -20.0, 1), (Act.RAISE_WITH_HEMP, 20.0, -1)]
)
def test_the_seat_goes_only_the_way_that_the_octave_asks(rule: Act, tilt: float, way: int) -> None:
    seats = _allowed(rule, tilt=tilt).seats_mm
    assert seats
    assert all(seat * way >= LEAST_SEAT_MM for seat in seats)


def test_the_seat_stays_where_the_octave_cannot_be_told_from_right() -> None:
    """Control: a wider one moves it."""
    assert not _allowed(Act.TAPE, tilt=1.0).seats_mm
    assert _allowed(Act.TAPE, tilt=4.0).seats_mm


@pytest.mark.parametrize(("tilt", "free"), [(-5.0, False), (-12.0, True)])
def test_the_last_seat_move_is_taken_back_on_clear_evidence_only(tilt: float, *, free: bool) -> None:
    """It was raised by 1 mm; the octave is narrow now by less, and by more, than three uncertainties."""
    raised = Setting(seat_mm=-1.0)
    seats = _allowed(Act.SEAT_DEEPER, tilt=tilt, present=raised, earlier=Setting(), sd=1.5).seats_mm
    assert bool(seats) is free


def test_no_deeper_than_the_bottom() -> None:
    seats = _allowed(Act.SEAT_DEEPER, tilt=-40.0, present=Setting(seat_mm=2.5)).seats_mm
    assert max(seats) <= 3.0
    assert not _allowed(Act.SEAT_DEEPER, tilt=-40.0, present=Setting(seat_mm=3.0)).seats_mm


def test_no_higher_than_where_it_leaks() -> None:
    seats = _allowed(Act.RAISE_WITH_HEMP, tilt=40.0, present=Setting(seat_mm=1.0 - HIGHEST_MM)).seats_mm
    assert min(seats) == -HIGHEST_MM
    assert not _allowed(Act.RAISE_WITH_HEMP, tilt=40.0, present=Setting(seat_mm=-HIGHEST_MM)).seats_mm


def test_tape_grows_only_on_what_was_heard_sharp() -> None:
    allowed = _allowed(Act.TAPE, rest={"C": 12.0, "E": -6.0})
    assert "C" in allowed.grow
    assert "E" not in allowed.grow
    unheard = _allowed(Act.TAPE, rest={"C": 12.0}, notes=(LOW_A, "E", HIGH_A))
    assert "C" not in unheard.grow


def test_tape_comes_off_what_was_heard_flat() -> None:
    allowed = _allowed(Act.BREAK_IN, rest={"C": -12.0}, present=Setting(tape_mm={"C": 2.0, "E": 1.0}))
    assert "C" in allowed.shrink
    bare = _allowed(Act.BREAK_IN, rest={"C": -12.0})
    assert not bare.shrink


def test_low_a_is_taped_only_where_it_is_the_sharp_one() -> None:
    """All above it flat: low A is sharp against them, and the drones follow it. Not on a fixed pitch."""
    flat = dict.fromkeys(("B", "C", "D", "E", "F", "high G"), -10.0)
    assert LOW_A in _allowed(Act.BREAK_IN, rest=flat).grow
    assert LOW_A not in _allowed(Act.TAPE, rest={"C": 10.0}).grow
    assert LOW_A not in _allowed(Act.BREAK_IN, rest=flat, follow_low_a=False).grow


def test_at_most_four_acts_and_no_more_strips_than_asked() -> None:
    limits = Limits(most_strips=1)
    allowed = _allowed(Act.TAPE, rest={"C": 12.0}, present=Setting(tape_mm={"E": 1.0}), limits=limits)
    assert allowed.most_acts == MOST_ACTS == 4
    assert "C" not in allowed.grow
