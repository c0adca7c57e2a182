"""Open ends: the end corrections of Levine & Schwinger (1948) and of a wide flange."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from canebench.bore.radiation import FINGER_HOLE, FLANGED, UNFLANGED, radiation_impedance
from support.bores import DENSITY_KG_M3, LOSSLESS, SPEED_M_S, bare_bore, first_hz
from support.datasets import published

_THIN, _WALL = published("levine_schwinger_1948"), published("flanged_end")
_CASES = {"levine_schwinger_1948": (_THIN, UNFLANGED), "flanged_end": (_WALL, FLANGED)}


def _reduced(ka: float, delta: float, *, radius_m: float = 5e-3) -> complex:
    """Z over rho c / S at that ka."""
    omega = np.array([ka * SPEED_M_S / radius_m])
    impedance = radiation_impedance(radius_m, omega, LOSSLESS, correction=delta)
    return complex(impedance[0] * np.pi * radius_m**2 / (DENSITY_KG_M3 * SPEED_M_S))


@pytest.mark.parametrize("name", list(_CASES))
def test_end_correction_of_a_long_wave(name: str) -> None:
    """Im Z / ka within the printed rounding; the other kind of end is far outside it (control)."""
    data, ours = _CASES[name]
    (_, other) = next(case for key, case in _CASES.items() if key != name)
    value, gate = data.column("value")[0], data.number("end_correction_uncertainty")
    assert _reduced(1e-3, ours).imag / 1e-3 == pytest.approx(value, abs=gate)
    assert _reduced(1e-3, other).imag / 1e-3 != pytest.approx(value, abs=100 * gate)


@pytest.mark.parametrize("name", list(_CASES))
def test_a_tube_plays_as_if_that_much_longer(name: str) -> None:
    """From the pitch of a closed cylinder, 2 mm wide: (c / 4f - L) / a."""
    data, ours = _CASES[name]
    bore = bare_bore(LOSSLESS, length_mm=300.0, top_mm=2.0, bottom_mm=2.0)
    bore = replace(bore, chanter=replace(bore.chanter, sole_correction=ours))
    longer = (SPEED_M_S / (4 * first_hz(bore)) - 0.3) / 1e-3
    # The open end is not quite an inertia: its length is off by the order of (ka)^2 = 3e-5.
    gate = data.number("end_correction_uncertainty") + 3e-5
    assert longer == pytest.approx(data.column("value")[0], abs=gate)


def test_a_thin_end_radiates_into_the_whole_space() -> None:
    """Resistance (ka)^2 / 4. In a wide wall it is twice that; a chanter's walls are not wide (no test)."""
    quarter = _THIN.column("value")[1]
    for ka in (1e-3, 1e-2):
        assert _reduced(ka, UNFLANGED).real / ka**2 == pytest.approx(quarter, rel=ka)
    assert _reduced(1e-2, UNFLANGED).real / 1e-4 != pytest.approx(2 * quarter, rel=0.4)


def test_a_finger_hole_lies_between_the_two() -> None:
    thin, wall = _THIN.column("value")[0], _WALL.column("value")[0]
    assert thin < FINGER_HOLE < wall


@pytest.mark.parametrize("delta", [UNFLANGED, FINGER_HOLE, FLANGED])
def test_no_end_gives_power(delta: float) -> None:
    """Also far beyond where the expansion holds."""
    for ka in np.geomspace(1e-4, 1e2, 40):
        assert _reduced(float(ka), delta).real > 0
