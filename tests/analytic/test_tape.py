"""A strip of tape over a round hole: the segment's area, there and back, and its slope."""

from __future__ import annotations

import math

import pytest

from canebench.base.errors import InputError
from canebench.bore.tape import FOK, covered_mm, covered_share, share_per_mm

_WIDE_MM = 5.5
_REACHES_MM = [_WIDE_MM * share for share in (0.01, 0.1, 0.25, 0.5, 0.6, 0.75, 0.9, 0.99)]


def test_no_tape_half_and_all() -> None:
    assert covered_share(0.0, diameter_mm=_WIDE_MM) == 0.0
    assert covered_share(_WIDE_MM / 2, diameter_mm=_WIDE_MM) == pytest.approx(0.5, abs=1e-15)
    assert covered_share(_WIDE_MM, diameter_mm=_WIDE_MM) == 1.0


def test_a_quarter_of_the_diameter() -> None:
    """Segment of 120°: 1/3 - sqrt(3)/(4 pi) of the disc. In proportion: 1/4 (control)."""
    quarter = covered_share(_WIDE_MM / 4, diameter_mm=_WIDE_MM)
    assert quarter == pytest.approx(1 / 3 - math.sqrt(3) / (4 * math.pi), abs=1e-15)
    assert quarter < 0.2


@pytest.mark.parametrize("reach_mm", _REACHES_MM)
def test_what_is_covered_and_what_is_left_are_one(reach_mm: float) -> None:
    covered = covered_share(reach_mm, diameter_mm=_WIDE_MM)
    left = covered_share(_WIDE_MM - reach_mm, diameter_mm=_WIDE_MM)
    assert covered + left == pytest.approx(1.0, abs=1e-14)


@pytest.mark.parametrize("reach_mm", _REACHES_MM)
def test_millimetres_to_share_and_back(reach_mm: float) -> None:
    there = covered_share(reach_mm, diameter_mm=_WIDE_MM)
    assert covered_mm(there, diameter_mm=_WIDE_MM) == pytest.approx(reach_mm, abs=1e-9)
    # Control: a hole of another width answers otherwise.
    assert covered_mm(there, diameter_mm=_WIDE_MM + 0.1) != pytest.approx(reach_mm, abs=1e-9)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.3, 0.5, 1.0])
def test_share_to_millimetres_and_back(share: float) -> None:
    reach_mm = covered_mm(share, diameter_mm=_WIDE_MM)
    assert covered_share(reach_mm, diameter_mm=_WIDE_MM) == pytest.approx(share, abs=1e-12)


@pytest.mark.parametrize("reach_mm", _REACHES_MM)
def test_slope_is_the_difference_quotient(reach_mm: float) -> None:
    step = 1e-5
    quotient = (
        covered_share(reach_mm + step, diameter_mm=_WIDE_MM)
        - covered_share(reach_mm - step, diameter_mm=_WIDE_MM)
    ) / (2 * step)
    slope = share_per_mm(reach_mm, diameter_mm=_WIDE_MM)
    assert slope == pytest.approx(quotient, rel=1e-6)
    # Control: the average slope is right nowhere but by chance.
    assert slope != pytest.approx(1 / _WIDE_MM, rel=1e-3)


def test_slope_is_none_at_the_edges_and_greatest_in_the_middle() -> None:
    assert share_per_mm(0.0, diameter_mm=_WIDE_MM) == 0.0
    assert share_per_mm(_WIDE_MM, diameter_mm=_WIDE_MM) == pytest.approx(0.0, abs=1e-7)
    middle = share_per_mm(_WIDE_MM / 2, diameter_mm=_WIDE_MM)
    assert middle == pytest.approx(4 / (math.pi * _WIDE_MM), rel=1e-12)
    assert all(share_per_mm(reach, diameter_mm=_WIDE_MM) <= middle for reach in _REACHES_MM)


@pytest.mark.parametrize("reach_mm", [-0.1, _WIDE_MM + 0.01, math.nan, math.inf])
def test_tape_beyond_the_hole_is_refused(reach_mm: float) -> None:
    with pytest.raises(InputError, match=r"tape: .* was given; tape covers from 0 mm to .* 5\.5 mm"):
        covered_share(reach_mm, diameter_mm=_WIDE_MM)


@pytest.mark.parametrize("share", [-0.01, 1.01, 30.0, math.nan])
def test_a_share_beyond_all_is_refused(share: float) -> None:
    """30 is the slip of a reader who means per cent."""
    with pytest.raises(InputError, match=r"tape: .* of the hole was given; a share is from 0 to 1"):
        covered_mm(share, diameter_mm=_WIDE_MM)


def test_an_opening_as_wide_as_its_tube_has_no_end_correction() -> None:
    """1 / Fok's function is 1 for a small opening and vanishes, to the digits remembered, for the whole."""
    assert FOK[0] == 1.0
    assert abs(sum(FOK)) < 0.02
