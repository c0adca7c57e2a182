"""Levels of a stream against sines whose level is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from canebench.sound.dsp.loudness import SILENT_DB, Meter
from support.tones import tone

RATE_HZ = 48_000


def metered(*parts: object, block: int = 1_000) -> Meter:
    meter = Meter(RATE_HZ)
    samples = np.concatenate([np.asarray(part, dtype=np.float64) for part in parts])
    for start in range(0, len(samples), block):
        meter.add(samples[start : start + block])
    return meter


def test_a_sine_of_known_amplitude() -> None:
    read = metered(tone(480.0, RATE_HZ, duration_s=2.0, amplitude=0.5)).read()
    assert read.level_db == pytest.approx(20 * math.log10(0.5 / math.sqrt(2)), abs=0.01)
    assert read.peak_db == pytest.approx(20 * math.log10(0.5), abs=0.01)
    assert read.clipped == 0


def test_the_quietest_so_far_is_kept() -> None:
    loud = tone(480.0, RATE_HZ, duration_s=2.0, amplitude=0.5)
    quiet = tone(480.0, RATE_HZ, duration_s=2.0, amplitude=0.005)
    read = metered(loud, quiet, loud).read()
    assert read.quietest_db == pytest.approx(20 * math.log10(0.005 / math.sqrt(2)), abs=0.1)
    assert read.level_db > -12


def test_tops_that_are_cut_are_counted() -> None:
    over = np.clip(1.5 * np.asarray(tone(480.0, RATE_HZ, duration_s=1.0, amplitude=1.0)), -1, 1)
    # Two to a period of 480 Hz, give or take the ends.
    assert metered(over).read().clipped == pytest.approx(960, abs=2)
    assert metered(over, block=7).read().clipped == metered(over).read().clipped
    full = tone(480.0, RATE_HZ, duration_s=1.0, amplitude=0.99)
    assert metered(full).read().clipped == 0


def test_silence_has_a_level_too() -> None:
    assert metered(np.zeros(RATE_HZ)).read().level_db == SILENT_DB
    assert Meter(RATE_HZ).read().level_db == SILENT_DB
