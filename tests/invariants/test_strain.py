"""Advice never exceeds the ceiling."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.errors import InputError
from canebench.care.cautions import Hazard
from canebench.care.strain import within_ceiling

_KPA = st.floats(0.0, 30.0)


@given(kpa=_KPA, ceiling_kpa=_KPA)
def test_a_caution_just_above_the_ceiling_and_nowhere_else(kpa: float, ceiling_kpa: float) -> None:
    caution = within_ceiling(kpa, ceiling_kpa)
    assert (caution is None) == (kpa <= ceiling_kpa)
    assert caution is None or caution.hazard is Hazard.CEILING


@given(ceiling_kpa=st.floats(1.0, 25.0), above=st.floats(1e-6, 3.0))
def test_the_two_pressures_are_told_apart(ceiling_kpa: float, above: float) -> None:
    """However close they are, what is asked for does not read like the ceiling."""
    caution = within_ceiling(ceiling_kpa + above, ceiling_kpa)
    assert caution is not None
    asked, _, rest = caution.say.partition("; your ceiling is ")
    assert asked.removeprefix("This asks for ") != rest.partition(". ")[0]


@pytest.mark.parametrize("value", [math.nan, math.inf, -1.0, 75.0])
def test_what_is_no_pressure_is_refused(value: float) -> None:
    for given_kpa in ((value, 7.0), (7.0, value)):
        with pytest.raises(InputError, match="from 0 to 30 kPa"):
            within_ceiling(*given_kpa)
