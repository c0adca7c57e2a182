"""Ellis 1885: the printed vibrations of one chanter and the printed cents agree through our conversions."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from canebench.base.units import cents_to_hz, hz_to_cents
from support.datasets import published
from support.pitch import assert_within_cents

_ELLIS = published("ellis_1885")
_HZ = _ELLIS.column("hz")
_CENTS = _ELLIS.column("cents_from_low_a")
_STEPS = [float(row["step_cents"]) for row in _ELLIS.rows[1:]]
_LOW_A_HZ = _HZ[1]
#: Cents are printed whole.
_GATE_CENTS = _ELLIS.number("cents_uncertainty") + _ELLIS.number("arithmetic_cents")


def test_his_vibrations_give_his_cents() -> None:
    """`hz_to_cents` from low A, within the rounding of a whole cent."""
    assert hz_to_cents(np.array(_HZ), _LOW_A_HZ) == pytest.approx(_CENTS, abs=_GATE_CENTS)
    assert hz_to_cents(_HZ[2], _LOW_A_HZ) == pytest.approx(_CENTS[2], abs=_GATE_CENTS)


def test_his_vibrations_give_his_steps() -> None:
    """Each note from the one below it."""
    steps = [hz_to_cents(high, low) for low, high in itertools.pairwise(_HZ)]
    assert steps == pytest.approx(_STEPS, abs=_GATE_CENTS)


def test_his_cents_give_his_vibrations() -> None:
    """`cents_to_hz`, within the same rounding: a whole cent is finer than a whole vibration here."""
    for cents, hz in zip(_CENTS, _HZ, strict=True):
        assert_within_cents(cents_to_hz(cents, _LOW_A_HZ), hz, cents=_GATE_CENTS)


def test_other_conventions_do_not() -> None:
    """Controls: cents of a 1000-part octave, counted downwards, or from low G."""
    right = hz_to_cents(np.array(_HZ), _LOW_A_HZ)
    for wrong in (right / 1.2, -right, right - right[0]):
        assert wrong != pytest.approx(_CENTS, abs=_GATE_CENTS)
    with pytest.raises(AssertionError, match="allowed"):
        assert_within_cents(cents_to_hz(_CENTS[2] + 2 * _GATE_CENTS, _LOW_A_HZ), _HZ[2], cents=_GATE_CENTS)
