"""The one formatter: digits follow the uncertainty, signs are true, absence is said in words."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.uncertain import MINUS, NOT_ESTIMATED, Uncertain, digits_for, number


@pytest.mark.parametrize(
    ("value", "sd", "text"),
    [
        (478.2341, 0.05, "478.23 ± 0.05 Hz"),
        (478.2341, 0.012, "478.234 ± 0.012 Hz"),
        (-18.04, 1.13, "−18.0 ± 1.1 Hz"),
        (-0.04, 1.13, "0.0 ± 1.1 Hz"),
        (120.0, 12.0, "120 ± 12 Hz"),
        (120.0, 40.0, "120 ± 40 Hz"),
        (7.0, None, "7.0 Hz (± not estimated)"),
        (7.0, math.inf, "7.0 Hz (± not estimated)"),
        (math.nan, 1.0, NOT_ESTIMATED),
    ],
)
def test_as_a_person_reads_it(value: float, sd: float | None, text: str) -> None:
    assert Uncertain(value=value, sd=sd).text("Hz") == text


def test_sign_is_written_when_it_matters() -> None:
    assert Uncertain(value=2.04, sd=0.4).text("cents", signed=True) == "+2.0 ± 0.4 cents"
    assert number(0.0, 1, signed=True) == "0.0"
    assert number(-0.001, 1, signed=True) == "0.0"


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e3))
def test_rounding_loses_a_sixth_of_the_uncertainty_at_most(value: float, sd: float) -> None:
    text = Uncertain(value=value, sd=sd).text("Hz").replace(MINUS, "-")
    shown, shown_sd = (float(part) for part in text.removesuffix(" Hz").split(" ± "))
    # One digit from 3 up rounds by half in three; three decimals are the most that is shown.
    assert abs(shown - value) <= 0.17 * sd + 0.00051
    assert abs(shown_sd - sd) <= 0.17 * sd + 0.00051


@given(st.floats(1e-3, 1e3))
def test_a_smaller_uncertainty_never_shows_fewer_digits(sd: float) -> None:
    assert digits_for(sd / 2) >= digits_for(sd)


def test_control_plain_formatting_is_not_good_enough() -> None:
    """What a bare format would print differs: the cases above bite."""
    assert f"{-0.04:.1f}" == "-0.0"
    assert f"{-18.04:+.1f}" != number(-18.04, 1, signed=True)
