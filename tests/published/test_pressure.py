"""Inches of water against the conventional factors."""

from __future__ import annotations

import pytest

from canebench.base.pressure import PA_PER_INH2O, PressureUnit, kpa_to_inh2o, parse_pressure, to_kpa
from support.datasets import published

_TABLE = published("water_column")
_MMHG_PER_KPA = 1000.0 / _TABLE.number("pa_per_mmhg")


@pytest.mark.parametrize("row", _TABLE.rows, ids=[row["inh2o"] for row in _TABLE.rows])
def test_the_table(row: dict[str, str]) -> None:
    """Kilopascals and mmHg of each row, and the inches back, within the printed rounding."""
    inches, kpa = float(row["inh2o"]), float(row["kpa"])
    gate = _TABLE.number("kpa_uncertainty")
    found_kpa = to_kpa(inches, PressureUnit.INH2O)
    assert found_kpa == pytest.approx(kpa, abs=gate)
    assert found_kpa * _MMHG_PER_KPA == pytest.approx(
        float(row["mmhg"]), abs=_TABLE.number("mmhg_uncertainty")
    )
    assert kpa_to_inh2o(kpa) == pytest.approx(inches, abs=gate * 1000 / PA_PER_INH2O)
    assert parse_pressure(f"{row['inh2o']} inH2O").kpa == found_kpa


def test_the_factor_is_the_conventional_one() -> None:
    """25.4 mm of water under standard gravity, to the rounding of its sixth digit."""
    gate = _TABLE.number("relative_uncertainty")
    assert pytest.approx(_TABLE.number("pa_per_inh2o"), rel=gate) == PA_PER_INH2O
    assert pytest.approx(25.4 * 9.80665, rel=gate) == PA_PER_INH2O


def test_control_an_inch_of_mercury_or_a_centimetre_of_water_is_seen() -> None:
    gate = _TABLE.number("kpa_uncertainty")
    for wrong_kpa in (3.386389, 0.0980665):
        for row in _TABLE.rows:
            assert float(row["inh2o"]) * wrong_kpa != pytest.approx(float(row["kpa"]), abs=gate)
