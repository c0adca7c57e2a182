"""Losses in wide tubes against the published series of Keefe (1984) and the rules of thumb of a textbook."""

from __future__ import annotations

import numpy as np
import pytest

from canebench.bore.losses import Medium, line
from support.datasets import published

_DATA = published("zwikker_kosten")
_KINEMATIC = _DATA.number("viscosity_pa_s") / _DATA.number("density_kg_m3")
#: Keefe's air at 26.85 °C.
_AIR = Medium(
    density_kg_m3=_DATA.number("density_kg_m3"),
    stiffness_pa=_DATA.number("density_kg_m3") * _DATA.number("speed_m_s") ** 2,
    viscosity_m2_s=_KINEMATIC,
    diffusivity_m2_s=_KINEMATIC / _DATA.number("root_of_prandtl") ** 2,
    gamma=_DATA.number("gamma"),
)
#: r_v: 10 is 440 Hz in a tube of 1.5 mm, 100 in one of 15 mm.
_WIDTHS = (10.0, 20.0, 40.0, 100.0, 300.0)


def _found(quantity: str, r_v: float, *, medium: Medium = _AIR) -> float:
    """That quantity at 480 Hz in a tube of that r_v."""
    omega = 2 * np.pi * 480.0
    speed = np.sqrt(medium.stiffness_pa / medium.density_kg_m3)
    radius_m = r_v * np.sqrt(_KINEMATIC / omega)
    series, shunt = (complex(part[0]) for part in line(np.array([radius_m]), omega, medium))
    turn = np.sqrt(series * shunt) * speed / omega
    flat = np.sqrt(series / shunt) * np.pi * radius_m**2 / (medium.density_kg_m3 * speed)
    values = {
        "attenuation over omega/c": turn.real,
        "slowness over 1/c less 1": turn.imag - 1,
        "Re Zc over rho c/S less 1": flat.real - 1,
        "-Im Zc over rho c/S": -flat.imag,
    }
    return float(values[quantity])


@pytest.mark.parametrize("row", _DATA.rows, ids=[row["quantity"] for row in _DATA.rows])
@pytest.mark.parametrize("r_v", _WIDTHS)
def test_wide_tubes_follow_the_series(row: dict[str, str], r_v: float) -> None:
    """Within the rounding of its coefficients and the first power left out, of a coefficient of about 1."""
    powers = [r_v**-1, r_v**-2, r_v**-3]
    terms = [float(row[key]) for key in ("first", "second", "third")]
    series = sum(term * power for term, power in zip(terms, powers, strict=True))
    left_out = r_v**-4 if terms[2] else r_v**-3
    if row["quantity"].startswith("Re Zc"):
        # Printed to the first power only; the second vanishes.
        left_out = 2 * r_v**-3
    gate = _DATA.number("coefficient_uncertainty") * sum(powers) + left_out
    assert _found(row["quantity"], r_v) == pytest.approx(series, abs=gate)


@pytest.mark.parametrize("row", _DATA.rows, ids=[row["quantity"] for row in _DATA.rows])
def test_control_air_that_conducts_no_heat_does_not(row: dict[str, str]) -> None:
    """Its first coefficients are those of viscosity alone, 1/sqrt(2)."""
    cold = Medium(
        density_kg_m3=_AIR.density_kg_m3,
        stiffness_pa=_AIR.stiffness_pa,
        viscosity_m2_s=_AIR.viscosity_m2_s,
        diffusivity_m2_s=_AIR.diffusivity_m2_s,
        gamma=1.0,
    )
    found = 300.0 * _found(row["quantity"], 300.0, medium=cold)
    assert found == pytest.approx(0.5**0.5, abs=0.01)
    assert found != pytest.approx(float(row["first"]), abs=0.1)


@pytest.mark.parametrize("hz", [480.0, 960.0])
@pytest.mark.parametrize("radius_mm", [4.0, 8.0, 10.0])
def test_rules_of_thumb(hz: float, radius_mm: float) -> None:
    """Those of v = c (1 - 1.65e-3 / (a sqrt f)) and alpha = 3e-5 sqrt(f) / a, to their rounding."""
    omega, radius_m = 2 * np.pi * hz, 1e-3 * radius_mm
    series, shunt = (complex(part[0]) for part in line(np.array([radius_m]), omega, _AIR))
    turn = np.sqrt(series * shunt)
    speed = _DATA.number("speed_m_s")
    slowing = (1 - omega / (turn.imag * speed)) * radius_m * np.sqrt(hz)
    attenuation = turn.real * radius_m / np.sqrt(hz)
    assert slowing == pytest.approx(
        _DATA.number("rule_slowing"), abs=_DATA.number("rule_slowing_uncertainty")
    )
    assert attenuation == pytest.approx(
        _DATA.number("rule_attenuation"), abs=_DATA.number("rule_attenuation_uncertainty")
    )
