"""Notes on the partials of drones that waver, no louder than what is left of these; a swell is no note."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.signal import fftconvolve

from canebench.sound.analysis.drones.drone_lines import NO_LINES, without_drones
from canebench.sound.analysis.drones.drone_runs import drone_runs
from canebench.sound.analysis.notes.covered_notes import covered_notes
from canebench.sound.analysis.notes.interference import Surroundings
from canebench.sound.dsp.decimation import Section
from canebench.sound.dsp.stft import Frames, frames_of
from support.pitch import assert_within_cents

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.analysis.notes.pitch_contour import Stretch

_RATE_HZ, _LENGTH_S = 22_050.0, 12.0
_LOW_A_HZ, _WAVER_CENTS, _WAVER_HZ = 470.0, 1.0, 1.2
_SPAN_S = (5.0, 7.5)
#: Its ends are found later, by its level.
_EARLY_S = 1.0
#: The note lies so far from twice the tenors.
_OFF_CENTS = 2.0


@cache
def _drone(hz: float, top: int, seed: int) -> FloatArray:
    """A drone that wavers by itself, of partials of one level."""
    rng = np.random.default_rng(seed)
    steps = rng.standard_normal(round(_LENGTH_S * _RATE_HZ))
    slow = fftconvolve(steps, np.hanning(int(_RATE_HZ / _WAVER_HZ)), mode="same")
    cents = _WAVER_CENTS * slow / np.std(slow)
    cycles = np.cumsum(hz * np.exp2(cents / 1200)) / _RATE_HZ
    tones = [np.cos(2 * np.pi * (k * cycles + rng.uniform())) for k in range(1, top + 1)]
    return np.asarray(np.sum(tones, axis=0))


def _heard(*, note_db: float | None, swell_db: float, seed: int) -> tuple[list[Stretch], Frames]:
    """What is found over a bass and two tenors, one of which swells in the span; a note at low A or none."""
    samples = round(_LENGTH_S * _RATE_HZ)
    time_s = np.arange(samples) / _RATE_HZ
    inside = (time_s > _SPAN_S[0]) & (time_s < _SPAN_S[1])
    level = np.where(inside, 10 ** (swell_db / 20), 1.0)
    noise = 0.01 * np.random.default_rng(seed).standard_normal(samples)
    whole = _drone(_LOW_A_HZ / 4, 40, seed) + noise
    for place, cents in enumerate((-2.0, 2.5)):
        own = level if place == 0 else 1.0
        whole = whole + own * _drone(_LOW_A_HZ / 2 * 2 ** (cents / 1200), 24, seed + 10 + place)
    if note_db is not None:
        hz = _LOW_A_HZ * 2 ** (_OFF_CENTS / 1200)
        tones = [np.cos(2 * np.pi * k * hz * time_s + k) for k in range(1, 15)]
        whole = whole + 10 ** (note_db / 20) * inside * np.sum(tones, axis=0)
    section = Section(signal=0.02 * whole, rate_hz=_RATE_HZ, start_s=0.0)
    frames = frames_of(section)
    runs = drone_runs(section, frames)
    assert runs
    rest = without_drones(frames, runs)
    return covered_notes(rest, runs, [], Surroundings(rest, NO_LINES, [])), frames


@pytest.mark.parametrize("seed", range(3))
def test_a_note_on_the_drones_partials_is_found(seed: int) -> None:
    """Of partials 3 dB over one drone's, where three lie together, for most of its time."""
    found, frames = _heard(note_db=3.0, swell_db=0.0, seed=seed)
    times_s = frames.times_s
    heard_s = sum(times_s[own.last] - times_s[own.first] for own in found)
    assert heard_s > 0.6 * (_SPAN_S[1] - _SPAN_S[0])
    for own in found:
        assert times_s[own.first] > _SPAN_S[0] - _EARLY_S
        assert times_s[own.last] < _SPAN_S[1] + _EARLY_S
        assert_within_cents(min(own.freq_hz, own.freq_hz / 2, key=lambda hz: abs(hz - 470)), 470.5, cents=12)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("swell_db", [0.0, 9.0])
def test_a_drone_that_swells_is_no_note(swell_db: float, seed: int) -> None:
    found, _ = _heard(note_db=None, swell_db=swell_db, seed=seed)
    assert found == []
