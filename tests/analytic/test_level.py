"""Level, clipping, evenness, band: closed forms at every sample rate."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.sound.dsp.level import Level, level_of
from canebench.sound.files.recording import Recording
from support.tones import tone

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

_RATES_HZ = (8_000, 16_000, 44_100, 48_000, 96_000)


def _level(samples: FloatArray, rate_hz: int) -> Level:
    return level_of(Recording(samples=samples.astype(np.float32), rate_hz=float(rate_hz), origin="test"))


def _noise(rate_hz: int, *, below_hz: float | None = None, duration_s: float = 6.0) -> FloatArray:
    """White noise, cut off in the Fourier domain at `below_hz`."""
    count = round(duration_s * rate_hz)
    spectrum = np.fft.rfft(np.random.default_rng(5_601).standard_normal(count))
    if below_hz is not None:
        spectrum[np.fft.rfftfreq(count, 1 / rate_hz) > below_hz] *= 1e-4
    noise = np.fft.irfft(spectrum, count)
    return np.asarray(0.5 * noise / np.max(np.abs(noise)))


@pytest.mark.parametrize("rate_hz", _RATES_HZ)
@pytest.mark.parametrize("drive", [1.2, 2.0, 10.0])
def test_the_clipped_share_of_a_sine_is_its_closed_form(rate_hz: int, drive: float) -> None:
    """A sine driven g times over its ceiling is flat for 1 - (2/pi) asin(1/g) of the time."""
    samples = np.clip(tone(441.7, rate_hz, duration_s=3.0, amplitude=drive), -1.0, 1.0)
    share = 1 - 2 / math.pi * math.asin(1 / drive)
    # Runs of one or two samples are not counted: at 8 kHz a top of 0.33 of the time holds 3 to 4 samples.
    assert _level(samples, rate_hz).clipped == pytest.approx(share, abs=0.02)


@pytest.mark.parametrize("rate_hz", _RATES_HZ)
def test_a_whole_sine_is_not_clipped(rate_hz: int) -> None:
    """Under one sample in a thousand, whatever its level: a full-scale tone is no fault."""
    for amplitude in (0.01, 1.0):
        assert _level(tone(441.7, rate_hz, duration_s=3.0, amplitude=amplitude), rate_hz).clipped < 1e-3


def test_a_take_clipped_on_one_side_at_half_scale_is_found() -> None:
    """Clipping happens at a preamplifier's ceiling too, not only at full scale."""
    samples = np.minimum(tone(441.7, 48_000, duration_s=2.0, amplitude=0.9), 0.4)
    samples = np.maximum(samples, -0.39)
    assert _level(samples, 48_000).clipped > 0.2


@pytest.mark.parametrize("rate_hz", _RATES_HZ)
def test_peak_and_rms(rate_hz: int) -> None:
    found = _level(tone(1_000.0 / 3, rate_hz, duration_s=3.0, amplitude=0.37), rate_hz)
    assert found.peak == pytest.approx(0.37, rel=2e-3)
    assert found.rms == pytest.approx(0.37 / math.sqrt(2), rel=1e-3)


@pytest.mark.parametrize("rate_hz", _RATES_HZ)
def test_flatness_tells_noise_from_tones(rate_hz: int) -> None:
    """White noise is near 1 (1 for an infinite take), a tone and a comb near 0."""
    comb = np.sum([tone(k * 441.7, rate_hz, duration_s=4.0, amplitude=0.05) for k in range(1, 9)], axis=0)
    assert _level(_noise(rate_hz), rate_hz).flatness > 0.8
    assert _level(comb, rate_hz).flatness < 0.01
    assert _level(tone(441.7, rate_hz, duration_s=4.0), rate_hz).flatness < 0.01


@pytest.mark.parametrize("rate_hz", _RATES_HZ)
def test_the_strongest_lines_share(rate_hz: int) -> None:
    """A lone tone is all of it; of two tones of amplitudes 2 : 1 the stronger holds 4/5."""
    lone = tone(441.7, rate_hz, duration_s=4.0)
    both = lone + tone(1_903.0, rate_hz, duration_s=4.0, amplitude=0.25)
    assert _level(lone, rate_hz).line_share > 0.99
    assert _level(both, rate_hz).line_share == pytest.approx(0.8, abs=0.01)


@pytest.mark.parametrize("rate_hz", _RATES_HZ)
@pytest.mark.parametrize("place", [0.2, 0.35])
def test_a_band_limit_is_found(rate_hz: int, place: float) -> None:
    """Noise that falls off a cliff at 0.2 or 0.35 of the rate; the limit is told to 500 Hz."""
    found = _level(_noise(rate_hz, below_hz=place * rate_hz), rate_hz).cutoff_hz
    assert found is not None
    assert found == pytest.approx(place * rate_hz, abs=500.0)


@pytest.mark.parametrize("rate_hz", _RATES_HZ)
def test_control_a_whole_band_has_no_limit(rate_hz: int) -> None:
    assert _level(_noise(rate_hz), rate_hz).cutoff_hz is None


@pytest.mark.parametrize("rate_hz", _RATES_HZ)
def test_silence_is_zero_throughout(rate_hz: int) -> None:
    found = _level(np.zeros(2 * rate_hz), rate_hz)
    assert (found.peak, found.rms, found.clipped, found.cutoff_hz) == (0.0, 0.0, 0.0, None)


@pytest.mark.parametrize("count", [1, 100, 4_095, 4_096, (1 << 18) + 7])
def test_any_length_has_a_level(count: int) -> None:
    """Shorter than one spectrum, and one sample over a block: nothing fails and the RMS is right."""
    samples = tone(441.7, 48_000, duration_s=count / 48_000)
    assert _level(samples, 48_000).rms == pytest.approx(float(np.sqrt(np.mean(samples.astype(float) ** 2))))
