"""Just at, and just beside, where the bounds of an act change: common practice; sizes are our estimates."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, LOW_A, NOTES, C
from canebench.base.setting import Setting
from canebench.fitting.acts import Act
from canebench.fitting.limits import HIGHEST_MM, Limits
from canebench.fitting.rule_bounds import bounds_of
from practice.bench_cases import OCTAVE, chanter

if TYPE_CHECKING:
    from canebench.fitting.balance import Deviation
    from canebench.fitting.sizing import Allowed

_BOTTOM_MM = 3.0


def _bounds(rule: Act, newest: dict[str, Deviation], **other: Any) -> Allowed:
    given: dict[str, Any] = {
        "present": Setting(),
        "earlier": None,
        "limits": Limits(),
        "deepest_mm": _BOTTOM_MM,
        "hole_mm": [6.0] * len(HOLES),
        "follow_low_a": False,
    }
    return bounds_of(rule, newest, **given | other)


def _octave(tilt: float) -> dict[str, Deviation]:
    """Known to ± 3 below and ± 4 above, which makes ± 5 of the octave."""
    heard = chanter(tilt=tilt, notes=OCTAVE)
    return {LOW_A: replace(heard[LOW_A], sd_cents=3.0), HIGH_A: replace(heard[HIGH_A], sd_cents=4.0)}


@pytest.mark.parametrize(("tilt", "back"), [(14.9, False), (15.0, True), (15.1, True)])
def test_a_seat_goes_back_from_three_uncertainties_on(tilt: float, *, back: bool) -> None:
    """Raised by 1 mm, and the octave is narrow now; or sunk by as much, and wide."""
    for way, rule in ((1, Act.SEAT_DEEPER), (-1, Act.RAISE_WITH_HEMP)):
        found = _bounds(rule, _octave(-way * tilt), present=Setting(seat_mm=-way * 1.0), earlier=Setting())
        assert bool(found.seats_mm) is back


@pytest.mark.parametrize(("tilt", "moves"), [(4.9, False), (5.0, False), (5.1, True)])
def test_an_octave_no_wider_than_its_doubt_asks_for_no_seat(tilt: float, *, moves: bool) -> None:
    for side in (1.0, -1.0):
        seats = _bounds(Act.TAPE, _octave(side * tilt)).seats_mm
        assert bool(seats) is moves
        assert all(seat * side < 0 for seat in seats)


def test_an_octave_known_without_doubt_asks_for_the_seat_wherever_it_is_out() -> None:
    """By half a cent, below a whole one; one that is right asks for none."""
    assert _bounds(Act.TAPE, chanter(tilt=-0.5, sd=0.0)).seats_mm[0] == 0.25
    assert _bounds(Act.TAPE, chanter(tilt=0.5, sd=0.0)).seats_mm[0] == -0.25
    assert not _bounds(Act.TAPE, chanter(tilt=0.0, sd=0.0)).seats_mm


@pytest.mark.parametrize(("tilt", "clear"), [(7.5, False), (8.0, False), (8.5, True)])
def test_an_octave_is_clearly_out_beyond_eight_cents(tilt: float, *, clear: bool) -> None:
    """Then the seat must move, and where it cannot, no tape hides it."""
    for rule, side, end_mm in ((Act.SEAT_DEEPER, -1, _BOTTOM_MM), (Act.RAISE_WITH_HEMP, 1, -HIGHEST_MM)):
        heard = chanter(tilt=side * tilt, rest={C: 30.0})
        assert _bounds(rule, heard).must_move is clear
        stuck = _bounds(rule, heard, present=Setting(seat_mm=end_mm))
        assert not stuck.must_move
        assert (C in stuck.grow) is not clear


@pytest.mark.parametrize(("usual", "stays"), [(-1.5, False), (-2.0, False), (-2.1, True), (-3.0, True)])
def test_low_a_is_the_sharp_one_where_most_are_more_than_two_cents_flat(usual: float, *, stays: bool) -> None:
    """A taped C, 5.5 cents flat: beyond its 5 against low A, within them against half way to the most."""
    heard = chanter(rest=dict.fromkeys(NOTES[2:], usual) | {C: -5.5})
    found = _bounds(Act.TAPE, heard, present=Setting(tape_mm={C: 1.0}), follow_low_a=True)
    assert (C not in found.shrink) is stays


def test_where_most_are_a_little_sharp_low_a_stays_what_they_are_held_against() -> None:
    """Control: a C within its 5 cents is no sharp one."""
    for cents, grows in ((5.5, True), (4.5, False)):
        heard = chanter(rest=dict.fromkeys(NOTES[2:], 1.5) | {C: cents})
        assert (C in _bounds(Act.TAPE, heard, follow_low_a=True).grow) is grows
