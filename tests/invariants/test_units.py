"""Cents and hertz turn into one another and back, add up, and do so for arrays as for numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.units import CENTS_PER_NEPER, cents_to_hz, hz_step_to_cents, hz_to_cents
from support.pitch import assert_within_cents

_HZ = st.floats(10.0, 20_000.0)
_CENTS = st.floats(-6_000.0, 6_000.0)
#: Rounding of a logarithm, a product and a power, cents.
_ROUNDING_CENTS = 1e-9


@given(freq_hz=_HZ, reference_hz=_HZ)
def test_hertz_to_cents_and_back(freq_hz: float, reference_hz: float) -> None:
    back_hz = cents_to_hz(hz_to_cents(freq_hz, reference_hz), reference_hz)
    assert_within_cents(back_hz, freq_hz, cents=_ROUNDING_CENTS)


@given(interval_cents=_CENTS, reference_hz=_HZ)
def test_cents_to_hertz_and_back(interval_cents: float, reference_hz: float) -> None:
    back_cents = hz_to_cents(cents_to_hz(interval_cents, reference_hz), reference_hz)
    assert back_cents == pytest.approx(interval_cents, abs=_ROUNDING_CENTS)


@given(low_hz=_HZ, middle_hz=_HZ, high_hz=_HZ)
def test_intervals_add_up_and_change_sign_when_turned(
    low_hz: float, middle_hz: float, high_hz: float
) -> None:
    whole = hz_to_cents(high_hz, low_hz)
    assert hz_to_cents(middle_hz, low_hz) + hz_to_cents(high_hz, middle_hz) == pytest.approx(whole, abs=1e-8)
    assert hz_to_cents(low_hz, high_hz) == pytest.approx(-whole, abs=1e-8)


@given(first_cents=_CENTS, second_cents=_CENTS, reference_hz=_HZ)
def test_steps_taken_one_after_the_other_are_their_sum(
    first_cents: float, second_cents: float, reference_hz: float
) -> None:
    stepped_hz = cents_to_hz(second_cents, cents_to_hz(first_cents, reference_hz))
    assert_within_cents(
        stepped_hz, cents_to_hz(first_cents + second_cents, reference_hz), cents=_ROUNDING_CENTS
    )


@given(freq_hz=_HZ, octaves=st.integers(-5, 5))
def test_an_octave_is_1200_cents(freq_hz: float, octaves: int) -> None:
    assert hz_to_cents(freq_hz * 2.0**octaves, freq_hz) == pytest.approx(1200 * octaves, abs=_ROUNDING_CENTS)


@given(values_hz=st.lists(_HZ, max_size=8), reference_hz=_HZ)
def test_an_array_is_turned_value_by_value(values_hz: list[float], reference_hz: float) -> None:
    """As the numbers are, in the same shape, and the argument is left as it was."""
    given_hz = np.array(values_hz)
    cents = hz_to_cents(given_hz, reference_hz)
    assert isinstance(cents, np.ndarray)
    assert cents.shape == given_hz.shape
    np.testing.assert_array_equal(given_hz, values_hz)
    for one_cents, hz in zip(cents, values_hz, strict=True):
        assert float(one_cents) == pytest.approx(hz_to_cents(hz, reference_hz), abs=_ROUNDING_CENTS)
    for back_hz, hz in zip(cents_to_hz(cents, reference_hz), values_hz, strict=True):
        assert_within_cents(float(back_hz), hz, cents=_ROUNDING_CENTS)


@given(freq_hz=_HZ, reference_hz=_HZ)
def test_a_number_gives_a_plain_number(freq_hz: float, reference_hz: float) -> None:
    assert type(hz_to_cents(freq_hz, reference_hz)) is float
    assert type(cents_to_hz(hz_to_cents(freq_hz, reference_hz), reference_hz)) is float


@given(freq_hz=_HZ, step=st.floats(-1e-4, 1e-4))
def test_a_small_step_is_the_interval_to_first_order(freq_hz: float, step: float) -> None:
    """The second order, half the step's square, is all that is missing."""
    exact = hz_to_cents(freq_hz * (1 + step), freq_hz)
    missing = 0.51 * step**2 * CENTS_PER_NEPER + _ROUNDING_CENTS
    assert abs(hz_step_to_cents(step * freq_hz, freq_hz) - exact) <= missing


def test_control_a_cent_taken_as_a_thousandth_of_an_octave_is_seen() -> None:
    """Doing without the 1200 and hertz differences for cents both fail what the tests above ask."""
    wrong = 1000 * math.log2(480 / 440)
    assert wrong != pytest.approx(hz_to_cents(480.0, 440.0), abs=1.0)
    with pytest.raises(AssertionError, match="measured"):
        assert_within_cents(cents_to_hz(wrong, 440.0), 480.0, cents=_ROUNDING_CENTS)
