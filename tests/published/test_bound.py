"""The Cramér-Rao bound: worked numbers, an independent estimator that reaches it, and how near ours comes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from canebench.base.uncertain import SD_TO_90
from canebench.sound.analysis.measure import measure
from canebench.sound.files.recording import Recording
from support.datasets import PUBLISHED, source_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray

_CENTS_PER_NEPER = 1200 / math.log(2)


def _single_tone_hz(snr_db: float, count: int, rate_hz: float) -> float:
    """Rife & Boorstyn 1974."""
    eta = 10 ** (snr_db / 10)
    return rate_hz / (2 * math.pi) * math.sqrt(12 / (eta * count * (count**2 - 1)))


def _harmonic_hz(amplitudes: Sequence[float], sigma: float, count: float, rate_hz: float) -> float:
    """Nehorai & Porat 1986."""
    weight = sum((k * a) ** 2 for k, a in enumerate(amplitudes, start=1))
    return rate_hz / (2 * math.pi) * math.sqrt(24 * sigma**2 / (count * (count**2 - 1) * weight))


def _tone(
    amplitudes: Sequence[float], hz: float, count: int, rate_hz: float, rng: np.random.Generator
) -> FloatArray:
    time_s = np.arange(count) / rate_hz
    return np.asarray(
        sum(
            a * np.cos(2 * np.pi * k * hz * time_s + rng.uniform(0, 2 * np.pi))
            for k, a in enumerate(amplitudes, start=1)
        )
    )


def _least_squares_hz(signal: FloatArray, partials: int, near_hz: float, rate_hz: float) -> float:
    """Maximum likelihood in white noise: the fundamental whose partials take up most of the signal."""
    time_s = np.arange(len(signal)) / rate_hz

    def left(hz: float) -> float:
        turns = 2 * np.pi * hz * np.outer(time_s, np.arange(1, partials + 1))
        basis, _ = np.linalg.qr(np.concatenate([np.cos(turns), np.sin(turns)], axis=1))
        return -float(np.sum((basis.T @ signal) ** 2))

    bounds = (near_hz - 0.2, near_hz + 0.2)
    return float(minimize_scalar(left, bounds=bounds, method="bounded", options={"xatol": 1e-5}).x)


@pytest.mark.parametrize("worked", source_of(PUBLISHED / "rife_boorstyn_1974")["worked"])
def test_the_bound_of_a_single_tone_at_480_hz(worked: dict[str, float]) -> None:
    """The worked values in cents, to the digits given."""
    rate_hz = 48_000.0
    bound_hz = _single_tone_hz(worked["snr_db"], round(worked["length_s"] * rate_hz), rate_hz)
    cents = _CENTS_PER_NEPER * bound_hz / 480.0
    assert cents == pytest.approx(worked["cents"], abs=0.51 * 10 ** -worked["digits"])


def test_the_bound_of_a_harmonic_tone_and_an_estimator_that_reaches_it() -> None:
    """The worked value, and 300 runs of nonlinear least squares: their RMS error is the bound to 12 %."""
    worked = source_of(PUBLISHED / "nehorai_porat_1986")["worked"]
    amplitudes, sigma, count = worked["amplitudes"], worked["sigma"], worked["samples"]
    rate_hz, hz = worked["rate_hz"], worked["fundamental_hz"]
    bound_hz = _harmonic_hz(amplitudes, sigma, count, rate_hz)
    assert bound_hz == pytest.approx(worked["bound_hz"], abs=0.000_006)
    rng = np.random.default_rng(5_901)
    errors = []
    for _ in range(300):
        signal = _tone(amplitudes, hz, count, rate_hz, rng) + sigma * rng.standard_normal(count)
        errors.append(_least_squares_hz(signal, len(amplitudes), hz, rate_hz) - hz)
    ratio = math.sqrt(float(np.mean(np.square(errors)))) / bound_hz
    # The RMS of 300 draws has a standard error of 4 %: three of them.
    assert ratio == pytest.approx(1.0, abs=0.12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A steady harmonic tone in white noise and the most that our error may be of the bound."""

    amplitudes: tuple[float, ...]
    sigma: float
    most_ratio: float


_FIVE = (1.0, 1.5, 1.2, 0.8, 0.5)
#: We let the pitch wander (splines every 0.2 s), trust no partial blindly and read overlapping windows: each
#: costs. A mean from the phases at two ends alone would be sqrt(2 (n / 6)) of the bound for n independent
#: draws: 1.6 for the eight of 1.6 s, and more with end splines that lean on one side only.
CASES = {
    "five partials, +8 dB": Case(amplitudes=_FIVE, sigma=0.7, most_ratio=4.0),
    "five partials, +25 dB": Case(amplitudes=_FIVE, sigma=0.1, most_ratio=4.0),
    "ten equal partials, +13 dB": Case(amplitudes=(1.0,) * 10, sigma=0.5, most_ratio=5.0),
}


@pytest.mark.parametrize("name", list(CASES))
def test_our_error_beside_the_bound_and_its_stated_doubt(name: str) -> None:
    """Over 100 takes of one steady note: RMS error over the bound of the span used, and what the ± covers."""
    case, rate_hz, hz = CASES[name], 12_000.0, 480.3
    rng = np.random.default_rng([5_902, list(CASES).index(name)])
    errors, covered = [], []
    for _ in range(100):
        signal = _tone(case.amplitudes, hz, 24_000, rate_hz, rng)
        signal += case.sigma * rng.standard_normal(len(signal))
        recording = Recording(samples=(0.05 * signal).astype(np.float32), rate_hz=rate_hz, origin="test")
        (found,) = measure(recording).notes
        ((start, end),) = found.spans_s
        errors.append(
            (found.hz - hz) / _harmonic_hz(case.amplitudes, case.sigma, (end - start) * rate_hz, rate_hz)
        )
        covered.append(abs(found.hz - hz) <= SD_TO_90 * found.sd_hz)
    ratio, share = math.sqrt(float(np.mean(np.square(errors)))), float(np.mean(covered))
    print(f"{name}: error {ratio:.2f} x the bound; the 90 % interval holds {share:.0%}")  # noqa: T201
    assert 0.9 < ratio < case.most_ratio
    # In white noise alone the ± is on the safe side: it also allows for a room.
    assert share >= 0.83
