"""Cents and hertz: round trips, octaves, addition of intervals, and scalars like arrays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.units import cents_to_hz, hz_step_to_cents, hz_to_cents
from support.pitch import assert_within_cents

_HZ = st.floats(20.0, 20_000.0)
_CENTS = st.floats(-4_800.0, 4_800.0)


@given(_HZ, _HZ)
def test_to_cents_and_back(hz: float, reference_hz: float) -> None:
    assert_within_cents(cents_to_hz(hz_to_cents(hz, reference_hz), reference_hz), hz, cents=1e-9)


@given(_HZ, _HZ)
def test_an_octave_is_1200_cents_and_the_interval_down_is_that_up(hz: float, reference_hz: float) -> None:
    cents = hz_to_cents(hz, reference_hz)
    assert hz_to_cents(2 * hz, reference_hz) - cents == pytest.approx(1200.0, abs=1e-8)
    assert hz_to_cents(reference_hz, hz) == pytest.approx(-cents, abs=1e-8)


@given(_HZ, _HZ, _HZ)
def test_intervals_add_up(low_hz: float, mid_hz: float, high_hz: float) -> None:
    whole = hz_to_cents(high_hz, low_hz)
    assert hz_to_cents(mid_hz, low_hz) + hz_to_cents(high_hz, mid_hz) == pytest.approx(whole, abs=1e-8)


@given(st.lists(_CENTS, min_size=1, max_size=9), _HZ)
def test_arrays_are_converted_one_by_one(cents: list[float], reference_hz: float) -> None:
    together = cents_to_hz(np.array(cents), reference_hz)
    assert isinstance(together, np.ndarray)
    np.testing.assert_allclose(together, [cents_to_hz(one, reference_hz) for one in cents], rtol=1e-12)
    assert isinstance(hz_to_cents(440.0, reference_hz), float)


@given(_HZ, st.floats(-0.5, 0.5))
def test_a_small_step_is_the_interval_to_first_order(hz: float, cents: float) -> None:
    """The second-order term of half a cent is 7e-5 cent."""
    step_hz = cents_to_hz(cents, hz) - hz
    assert hz_step_to_cents(step_hz, hz) == pytest.approx(cents, abs=1e-4)


def test_control_cents_are_not_linear_in_hz() -> None:
    """A fifth is 702 cents; by straight line between octaves it would be 600."""
    assert hz_to_cents(1.5, 1.0) == pytest.approx(701.955, abs=1e-3)
    assert hz_step_to_cents(0.5, 1.0) > 800
