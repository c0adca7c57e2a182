"""Cylinders and cones against closed forms, which are written here once more and solved by SciPy.

Times go as exp(+j omega t); x is the distance from a cone's apex; k = omega / c. Lossless spherical waves in
a cone are p = (A sin kx + B cos kx) / x, u = -S / (j omega rho) dp/dx (Benade 1959, J. Acoust. Soc. Am.
31:137; Nederveen 1969, *Acoustical Aspects of Woodwind Instruments*).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ive

from canebench.bore.assembly import assemble
from canebench.bore.network import Cases, admittance, scan
from canebench.bore.radiation import FLANGED, UNFLANGED
from support.bores import (
    BREATH,
    DENSITY_KG_M3,
    LOSSLESS,
    SPEED_M_S,
    bare_bore,
    bare_cases,
    first_hz,
    ideal_end,
    invented_chanter,
    invented_reed,
    shares,
    whole,
)
from support.pitch import assert_within_cents

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import ComplexArray, FloatArray
    from canebench.bore.assembly import Network

_HZ = np.array([60.0, 217.0, 480.0, 960.0, 1_590.0])
#: What is asked of a resonance, cents.
_CENTS = 0.01
#: Upper and lower diameter and length, mm; the last has nearly no top.
CONES = {
    "blunt": (10.0, 20.0, 300.0),
    "short": (3.0, 11.0, 170.0),
    "chanter": (4.0, 20.25, 325.0),
    "chanter with staple": (2.7, 20.0, 345.0),
    "to the apex, nearly": (1.05, 20.0, 300.0),
}


def _cone_matrix(top_m: float, bottom_m: float, length_m: float, hz: FloatArray) -> ComplexArray:
    """(p, u) above from (p, u) below, through the amplitudes A and B of the lossless spherical waves."""
    omega = 2 * np.pi * hz
    k = omega / SPEED_M_S
    apex_m = top_m * length_m / (bottom_m - top_m)

    def basis(x: float, radius_m: float) -> ComplexArray:
        sine, cosine = np.sin(k * x), np.cos(k * x)
        gain = 1j * np.pi * radius_m**2 / (omega * DENSITY_KG_M3 * x**2)
        rows = [[sine / x, cosine / x], [gain * (k * x * cosine - sine), gain * (-k * x * sine - cosine)]]
        return np.moveaxis(np.array(rows, complex), -1, 0)

    return np.asarray(basis(apex_m, top_m) @ np.linalg.inv(basis(apex_m + length_m, bottom_m)))


def _radiation(radius_m: float, hz: FloatArray, delta: float) -> ComplexArray:
    """Open end, rho c / S j ka / (1/delta + j ka / (4 delta^2)), written once more."""
    ka = 2 * np.pi * hz / SPEED_M_S * radius_m
    flat = DENSITY_KG_M3 * SPEED_M_S / (np.pi * radius_m**2)
    return np.asarray(flat * 1j * ka / (1 / delta + 0.25j * ka / delta**2))


def _rising_root_hz(balance: Callable[[float], float], low_hz: float, high_hz: float) -> float:
    assert balance(low_hz) < 0 < balance(high_hz)
    return float(brentq(balance, low_hz, high_hz, xtol=1e-9))


def _off(found: ComplexArray, true: ComplexArray) -> float:
    """Largest error of an element over the size of that element's largest value."""
    return float(np.max(np.abs(found - true) / np.max(np.abs(true), axis=0)))


def _cylinder_matrix(radius_m: float, length_m: float, hz: FloatArray) -> ComplexArray:
    turn = 2 * np.pi * hz / SPEED_M_S * length_m
    flat = DENSITY_KG_M3 * SPEED_M_S / (np.pi * radius_m**2)
    rows = [[np.cos(turn), 1j * flat * np.sin(turn)], [1j * np.sin(turn) / flat, np.cos(turn)]]
    return np.moveaxis(np.array(rows, complex), -1, 0)


# --------------------------------------------------------------------- matrices


def test_lossless_cylinder_is_the_closed_form() -> None:
    """[[cos kL, j Z sin kL], [j sin kL / Z, cos kL]]; a tenth of a millimetre more is not (control)."""
    bore = bare_bore(LOSSLESS, length_mm=349.0, top_mm=9.0, bottom_mm=9.0)
    found = whole(bore, bare_cases(_HZ))
    assert np.all(np.isfinite(found))
    assert _off(found, _cylinder_matrix(4.5e-3, 0.349, _HZ)) < 1e-9
    assert _off(found, _cylinder_matrix(4.5e-3, 0.3491, _HZ)) > 1e-5


def test_lossy_cylinder_is_the_closed_form() -> None:
    """[[cosh GL, Zc sinh GL], [sinh GL / Zc, cosh GL]] with the losses of Zwikker & Kosten from SciPy.

    Control: without heat conduction it is not.
    """
    radius_m, length_m, omega = 2.5e-3, 0.349, 2 * np.pi * _HZ
    area = np.pi * radius_m**2

    def layer(diffusivity: float) -> ComplexArray:
        s = radius_m * np.sqrt(1j * omega / diffusivity)
        return np.asarray(2 * ive(1, s) / (s * ive(0, s)), dtype=complex)

    def exact(gamma: float) -> ComplexArray:
        series = 1j * omega * DENSITY_KG_M3 / area / (1 - layer(BREATH.viscosity_m2_s))
        shunt = 1j * omega * area / BREATH.stiffness_pa * (1 + (gamma - 1) * layer(BREATH.diffusivity_m2_s))
        turn, flat = np.sqrt(series * shunt) * length_m, np.sqrt(series / shunt)
        rows = [[np.cosh(turn), flat * np.sinh(turn)], [np.sinh(turn) / flat, np.cosh(turn)]]
        return np.moveaxis(np.array(rows, complex), -1, 0)

    bore = bare_bore(BREATH, length_mm=1e3 * length_m, top_mm=5.0, bottom_mm=5.0)
    found = whole(bore, bare_cases(_HZ))
    assert _off(found, exact(BREATH.gamma)) < 1e-6
    assert _off(found, exact(1.0)) > 1e-3


@pytest.mark.parametrize("name", list(CONES))
def test_lossless_cone_is_the_closed_form(name: str) -> None:
    """As spherical waves have it; the cylinder of the same volume is not (control)."""
    top_mm, bottom_mm, length_mm = CONES[name]
    bore = bare_bore(LOSSLESS, length_mm=length_mm, top_mm=top_mm, bottom_mm=bottom_mm)
    found = whole(bore, bare_cases(_HZ))
    assert _off(found, _cone_matrix(top_mm * 5e-4, bottom_mm * 5e-4, length_mm * 1e-3, _HZ)) < 5e-4
    middle_m = 5e-4 * float(np.sqrt((top_mm**2 + top_mm * bottom_mm + bottom_mm**2) / 3))
    assert _off(found, _cylinder_matrix(middle_m, length_mm * 1e-3, _HZ)) > 0.1


# ------------------------------------------------------------------- resonances


@pytest.mark.parametrize("length_mm", [170.0, 300.0, 480.0])
@pytest.mark.parametrize("wide_mm", [4.0, 20.0])
def test_closed_cylinder_with_an_ideal_end_is_a_quarter_wave(length_mm: float, wide_mm: float) -> None:
    bore = ideal_end(bare_bore(LOSSLESS, length_mm=length_mm, top_mm=wide_mm, bottom_mm=wide_mm))
    assert_within_cents(first_hz(bore), SPEED_M_S / (4e-3 * length_mm), cents=1e-4)


@pytest.mark.parametrize("delta", [UNFLANGED, FLANGED])
def test_closed_cylinder_that_radiates(delta: float) -> None:
    """Im Y = 0 of the closed form with the same open end; without radiation it is sharper (control)."""
    radius_m, length_m = 5e-3, 0.3
    bore = bare_bore(LOSSLESS, length_mm=300.0, top_mm=10.0, bottom_mm=10.0)
    bore = replace(bore, chanter=replace(bore.chanter, sole_correction=delta))

    def balance(hz: float) -> float:
        one = np.array([hz])
        end = 1 / _radiation(radius_m, one, delta)
        matrix = _cylinder_matrix(radius_m, length_m, one)[0]
        return float(((matrix[1, 0] + matrix[1, 1] * end) / (matrix[0, 0] + matrix[0, 1] * end))[0].imag)

    true_hz = _rising_root_hz(balance, 230.0, 300.0)
    assert_within_cents(first_hz(bore), true_hz, cents=1e-4)
    quarter_hz = SPEED_M_S / (4 * length_m)
    assert first_hz(bore) < quarter_hz
    # And the length correction is delta a, to second order in ka.
    assert_within_cents(first_hz(bore), SPEED_M_S / (4 * (length_m + delta * radius_m)), cents=0.05)


@pytest.mark.parametrize("name", list(CONES))
def test_truncated_cone_closed_at_the_top(name: str) -> None:
    """The relation tan kL = -k x0, x0 being what is missing to the apex (Benade 1959, Nederveen 1969).

    Control: neither the cylinder nor the complete cone of the same length.
    """
    top_mm, bottom_mm, length_mm = CONES[name]
    length_m = length_mm * 1e-3
    apex_m = length_m * top_mm / (bottom_mm - top_mm)
    found_hz = first_hz(
        ideal_end(bare_bore(LOSSLESS, length_mm=length_mm, top_mm=top_mm, bottom_mm=bottom_mm))
    )
    angle = brentq(lambda a: np.sin(a) + a * apex_m / length_m * np.cos(a), np.pi / 2, np.pi, xtol=1e-13)
    assert_within_cents(found_hz, angle * SPEED_M_S / (2 * np.pi * length_m), cents=_CENTS)
    assert found_hz > 1.02 * SPEED_M_S / (4 * length_m)
    assert found_hz < SPEED_M_S / (2 * length_m) * 0.999
    with pytest.raises(AssertionError, match="cents, allowed"):
        assert_within_cents(found_hz, SPEED_M_S / (2 * (length_m + apex_m)), cents=_CENTS)


@pytest.mark.parametrize("name", [name for name in CONES if name != "blunt"])
def test_cone_whose_apex_is_made_good_is_complete(name: str) -> None:
    """Then f = c / 2L to the apex: once the top sees what the missing tip would show at that pitch.

    The tip's admittance is j S/(omega rho x0) (1 - k x0 cot k x0); the reed's volume stands in for it.
    Control: the tip's geometric volume is too small, more so the longer the tip.
    """
    top_mm, bottom_mm, length_mm = CONES[name]
    apex_m = 1e-3 * length_mm * top_mm / (bottom_mm - top_mm)
    complete_hz = SPEED_M_S / (2 * (1e-3 * length_mm + apex_m))
    area, turn = np.pi * (5e-4 * top_mm) ** 2, 2 * np.pi * complete_hz / SPEED_M_S * apex_m
    volume_m3 = area * apex_m / turn**2 * (1 - turn / np.tan(turn))
    bore = ideal_end(bare_bore(LOSSLESS, length_mm=length_mm, top_mm=top_mm, bottom_mm=bottom_mm))
    assert_within_cents(first_hz(replace(bore, volume_m3=volume_m3)), complete_hz, cents=_CENTS)
    geometric = first_hz(replace(bore, volume_m3=area * apex_m / 3))
    assert geometric > complete_hz
    # To first order the tip's volume counts (1 + (k x0)^2 / 15) times.
    assert volume_m3 / (area * apex_m / 3) == pytest.approx(1 + turn**2 / 15, rel=0.02)


@pytest.mark.parametrize("name", list(CONES))
def test_cone_with_reed_that_radiates(name: str) -> None:
    """Im Y = 0 of the closed form with 100 mm^3 above and the same open end below."""
    top_mm, bottom_mm, length_mm = CONES[name]
    top_m, bottom_m, length_m, volume_m3 = top_mm * 5e-4, bottom_mm * 5e-4, length_mm * 1e-3, 100e-9

    def balance(hz: float) -> float:
        one = np.array([hz])
        end = 1 / _radiation(bottom_m, one, UNFLANGED)[0]
        matrix = _cone_matrix(top_m, bottom_m, length_m, one)[0]
        bore = (matrix[1, 0] + matrix[1, 1] * end) / (matrix[0, 0] + matrix[0, 1] * end)
        return float(bore.imag + 2 * np.pi * hz * volume_m3 / (DENSITY_KG_M3 * SPEED_M_S**2))

    bore = bare_bore(LOSSLESS, length_mm=length_mm, top_mm=top_mm, bottom_mm=bottom_mm, volume_mm3=100.0)
    found_hz = first_hz(bore)
    assert_within_cents(found_hz, _rising_root_hz(balance, 0.97 * found_hz, 1.03 * found_hz), cents=_CENTS)
    without = balance(first_hz(replace(bore, volume_m3=0.0)))
    assert without > 0


def test_admittance_is_that_of_the_product() -> None:
    """Pairwise multiplied as one by one, with end and reed: a lossy cone."""
    bore = bare_bore(BREATH, length_mm=325.0, top_mm=4.0, bottom_mm=20.25, volume_mm3=268.8)
    cases = bare_cases(_HZ)
    total = whole(bore, cases)
    end = 1 / _radiation(bore.end_m, _HZ, UNFLANGED)
    inside = (total[:, 1, 0] + total[:, 1, 1] * end) / (total[:, 0, 0] + total[:, 0, 1] * end)
    reed = 2j * np.pi * _HZ * 268.8e-9 / BREATH.stiffness_pa
    assert np.allclose(admittance(bore, cases), inside + reed, rtol=1e-10)
    assert not np.allclose(admittance(bore, cases), inside, rtol=1e-3)


def _gap_matrix(bore: Network, gap_m: float) -> ComplexArray:
    return whole(bore, bare_cases(_HZ, gap_m=gap_m))


def test_a_gap_lengthens_a_cylinder() -> None:
    """In a socket as wide as the bore, 3 mm of gap are 3 mm of bore; none is none (control)."""
    bore = bare_bore(LOSSLESS, length_mm=300.0, top_mm=8.0, bottom_mm=8.0)
    assert _off(_gap_matrix(bore, 3e-3), _cylinder_matrix(4e-3, 0.303, _HZ)) < 1e-9
    assert _off(_gap_matrix(bore, 0.0), _cylinder_matrix(4e-3, 0.300, _HZ)) < 1e-9


def test_a_scan_is_the_admittance_of_every_case_at_every_frequency() -> None:
    """Nine notes at two gaps, taped; control: with the tape left off they are others."""
    network = assemble(invented_chanter(gap_mm=2.0), invented_reed(), BREATH)
    open_share = np.tile(shares(network, tape_mm={"E": 2.0, "low A": 1.0}), (2, 1))
    gap_m = np.repeat([2e-3, 0.0], len(open_share) // 2)
    found = scan(network, open_share, gap_m, 2 * np.pi * _HZ)
    one_by_one = [
        admittance(
            network,
            Cases(
                omega=np.full((gap_m.size, 1), 2 * np.pi * hz), open_share=open_share, gap_m=gap_m[:, None]
            ),
        )
        for hz in _HZ
    ]
    np.testing.assert_allclose(found, np.stack(one_by_one, axis=1), rtol=1e-9)
    bare = scan(network, np.tile(shares(network), (2, 1)), gap_m, 2 * np.pi * _HZ)
    assert np.abs(found / bare - 1).max() > 1e-3
