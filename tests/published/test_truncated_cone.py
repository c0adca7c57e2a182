"""Truncated cones, closed where they are narrow: tabulated roots of tan kL = -k x0."""

from __future__ import annotations

import math

import numpy as np
import pytest

from canebench.bore.network import admittance
from support.bores import LOSSLESS, SPEED_M_S, bare_bore, bare_cases, first_hz, ideal_end
from support.datasets import published
from support.pitch import assert_within_cents

_DATA = published("truncated_cone")
_GATE = _DATA.number("root_uncertainty")
_IDS = [row["length_over_missing"] for row in _DATA.rows]
_LENGTH_MM, _TOP_MM = 300.0, 4.0
#: An error of the steps of 0.01 cents, as an angle over the angle.
_STEPS = 0.01 * math.log(2) / 1200


def _hz(angle: float) -> float:
    return angle * SPEED_M_S / (2 * math.pi * 1e-3 * _LENGTH_MM)


@pytest.mark.parametrize("row", _DATA.rows, ids=_IDS)
def test_first_resonance_is_the_tables(row: dict[str, str]) -> None:
    """Within the table's rounding; the next row's is not (control)."""
    ratio, root = float(row["length_over_missing"]), float(row["first"])
    bore = bare_bore(LOSSLESS, length_mm=_LENGTH_MM, top_mm=_TOP_MM, bottom_mm=_TOP_MM * (1 + ratio))
    found_hz = first_hz(ideal_end(bore))
    gate = 1200 / math.log(2) * (_GATE / root + _STEPS)
    assert_within_cents(found_hz, _hz(root), cents=gate)
    others = [value for value in _DATA.column("first") if value != root]
    assert all(abs(1200 * math.log2(found_hz / _hz(other))) > 10 * gate for other in others)


@pytest.mark.parametrize("row", _DATA.rows, ids=_IDS)
@pytest.mark.parametrize("which", ["first", "second"])
def test_the_imbalance_changes_sign_within_the_rounding(row: dict[str, str], which: str) -> None:
    """From mass to spring, for the first two resonances."""
    ratio, root = float(row["length_over_missing"]), float(row[which])
    bore = bare_bore(LOSSLESS, length_mm=_LENGTH_MM, top_mm=_TOP_MM, bottom_mm=_TOP_MM * (1 + ratio))
    # The error of the steps goes as the fourth power of the pitch, which is about twice as high.
    reach = _GATE + (10 if which == "second" else 1) * _STEPS * root
    hz = np.array([_hz(root - reach), _hz(root + reach)])
    below, above = admittance(ideal_end(bore), bare_cases(hz)).imag
    assert below < 0 < above


def test_a_longer_tip_missing_is_flatter() -> None:
    """From the complete cone, pi, down towards the closed cylinder, pi / 2."""
    roots = _DATA.column("first")
    assert roots == sorted(roots)
    assert math.pi / 2 < roots[0] < roots[-1] < math.pi
