"""A clock against a tone: a difference of a few millionths is found, and its uncertainty is honest."""

from __future__ import annotations

import numpy as np
import pytest

from canebench.base.units import hz_to_cents
from canebench.sound.live.clock_drift import ToneClock

RATE_HZ = 48_000
CENT = 1 / 1_731.234  # a cent as a share of a frequency


def heard(
    ppm: float,
    *,
    seed: int = 1,
    noise: float = 0.02,
    seconds: float = 4.0,
    block: int = 2_048,
    wander: float = 0,
) -> ToneClock:
    """A 440 Hz tone read by a clock that is off by `ppm`, in noise; `wander` in Hz to and fro."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    rng = np.random.default_rng(seed)
    turns = 440.0 * (1 + ppm * 1e-6) * time_s + wander * np.sin(2 * np.pi * 0.3 * time_s + seed)
    samples = 0.3 * np.cos(2 * np.pi * turns) + noise * rng.normal(size=len(time_s))
    clock = ToneClock(rate_hz=RATE_HZ, tone_hz=440.0)
    for start in range(0, len(samples), block):
        clock.add(samples[start : start + block], first_frame=start)
    return clock


@pytest.mark.parametrize("ppm", [-300.0, -20.0, 0.0, 20.0, 300.0])
def test_a_difference_is_found(ppm: float) -> None:
    found = heard(ppm).read()
    assert found is not None
    assert found.sd is not None
    expected = hz_to_cents(440.0 * (1 + ppm * 1e-6), 440.0)
    assert abs(found.value - expected) < 0.01
    assert found.sd < 0.01


def test_the_uncertainty_is_neither_too_small_nor_too_large() -> None:
    scores = []
    for seed in range(60):
        found = heard(20.0, seed=seed, noise=0.1).read()
        assert found is not None
        assert found.sd
        scores.append((found.value - 20.0e-6 / CENT) / found.sd)
    assert 0.4 < np.sqrt(np.mean(np.square(scores))) < 1.4


def test_a_tone_that_wanders_is_no_clock() -> None:
    steady, wandering = heard(0.0).read(), heard(0.0, wander=0.5).read()
    assert steady is not None
    assert wandering is not None
    assert wandering.sd is not None
    assert steady.sd is not None
    assert wandering.sd > 20 * steady.sd
    assert abs(wandering.value) < 3 * wandering.sd


def test_blocks_make_no_difference() -> None:
    assert heard(20.0, block=128).read() == heard(20.0, block=4_801).read()


def test_without_the_tone_nothing_is_said() -> None:
    clock = ToneClock(rate_hz=RATE_HZ, tone_hz=440.0)
    clock.add(np.random.default_rng(1).normal(size=4 * RATE_HZ), first_frame=0)
    assert clock.read() is None
    other = heard(0.0)
    assert other.read() is not None
    off = ToneClock(rate_hz=RATE_HZ, tone_hz=500.0)
    off.add(0.3 * np.cos(2 * np.pi * 440.0 * np.arange(4 * RATE_HZ) / RATE_HZ), first_frame=0)
    assert off.read() is None


def test_nothing_is_joined_across_a_gap() -> None:
    clock = heard(0.0)
    clock.add(np.zeros(10), first_frame=10 * RATE_HZ)
    assert clock.read() is None
