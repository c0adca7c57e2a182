"""The only way in which tests compare pitches."""

from __future__ import annotations

import math


def assert_within_cents(measured_hz: float, true_hz: float, *, cents: float) -> None:
    """Fail unless `measured_hz` lies within `cents` (> 0) of `true_hz` (> 0), both finite and in Hz."""
    assert math.isfinite(true_hz), f"the true pitch {true_hz} Hz is no pitch"
    assert true_hz > 0, f"the true pitch {true_hz} Hz is no pitch"
    assert cents > 0, f"a tolerance of {cents} cents proves nothing"
    assert math.isfinite(measured_hz), f"measured {measured_hz} Hz where {true_hz} Hz sounds"
    assert measured_hz > 0, f"measured {measured_hz} Hz where {true_hz} Hz sounds"
    error_cents = 1200.0 * math.log2(measured_hz / true_hz)
    assert abs(error_cents) <= cents, (
        f"measured {measured_hz:.6f} Hz where {true_hz:.6f} Hz sounds: {error_cents:+.6f} cents, "
        f"allowed ±{cents:g}"
    )
