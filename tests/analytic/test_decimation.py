"""Decimation leaves the band it keeps as it was, stops what lies above, and sections cover the take."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.sound.dsp.decimation import sections
from canebench.sound.files.recording import Recording
from support.tones import tone

if TYPE_CHECKING:
    from canebench.base.arrays import SampleArray

_RATES_HZ = (8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000, 192_000)
#: The filter is 80 dB down (1e-4): its ripple in the band kept is as small.
_RIPPLE = 1e-4
_AMPLITUDE = 0.5


def _recording(samples: SampleArray, rate_hz: float) -> Recording:
    return Recording(samples=samples, rate_hz=float(rate_hz), origin="test")


def _worst_error(rate_hz: int, hz: float, *, delay_s: float = 0.0) -> float:
    """Largest difference, as a part of the amplitude, between the section and the tone it should hold."""
    (section,) = sections(_recording(tone(hz, rate_hz, duration_s=3.0, amplitude=_AMPLITUDE), rate_hz))
    time_s = np.arange(len(section.signal)) / section.rate_hz - delay_s
    error = section.signal - _AMPLITUDE * np.cos(2 * np.pi * hz * time_s)
    edge = 64
    return float(np.max(np.abs(error[edge:-edge]))) / _AMPLITUDE


@pytest.mark.parametrize("rate_hz", _RATES_HZ)
@pytest.mark.parametrize("hz", [60.0, 440.123, 1_700.0, 3_300.0, 4_600.0])
def test_a_tone_in_the_band_keeps_amplitude_and_phase_at_every_sample(rate_hz: int, hz: float) -> None:
    """Sample by sample within 80 dB, so also across the seams of the overlap-save blocks."""
    assert _worst_error(rate_hz, min(hz, 0.44 * rate_hz)) < _RIPPLE


def test_control_a_microsecond_of_delay_is_seen() -> None:
    assert _worst_error(48_000, 440.123, delay_s=1e-6) > _RIPPLE


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 88_200, 96_000, 192_000])
@pytest.mark.parametrize("place", [0.57, 0.8, 1.03, 1.4])
def test_aliases_are_stopped_by_80_db(rate_hz: int, place: float) -> None:
    """Tones from 0.56 of the low rate up leave nothing behind within the take."""
    (probe,) = sections(_recording(tone(440.0, rate_hz, duration_s=0.5), rate_hz))
    hz = min(place * probe.rate_hz, 0.499 * rate_hz)
    (section,) = sections(_recording(tone(hz, rate_hz, duration_s=3.0, amplitude=_AMPLITUDE), rate_hz))
    inner = section.signal[500:-500]
    left_db = 20 * math.log10(float(np.sqrt(2 * np.mean(inner**2))) / _AMPLITUDE)
    assert left_db < -80.0


def test_control_plain_decimation_lets_aliases_through() -> None:
    samples = tone(0.57 * 12_000, 48_000, duration_s=3.0, amplitude=_AMPLITUDE)[::4]
    assert float(np.sqrt(2 * np.mean(samples.astype(float) ** 2))) > 0.9 * _AMPLITUDE


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 48_000])
@pytest.mark.parametrize("duration_s", [0.2, 1.0, 37.4, 37.6, 75.3, 131.7])
def test_sections_cover_the_take_without_gap_or_overlap(rate_hz: int, duration_s: float) -> None:
    """Each begins where the one before ends, none is longer than 37.5 s, and together they are the take."""
    samples = np.zeros(round(duration_s * rate_hz), dtype=np.float32)
    found = list(sections(_recording(samples, rate_hz)))
    at_s = 0.0
    for section in found:
        assert section.start_s == pytest.approx(at_s, abs=1e-9)
        assert section.duration_s <= 37.5 + 0.01
        at_s = section.start_s + section.duration_s
    assert at_s == pytest.approx(duration_s, abs=1.0 / found[0].rate_hz)


def test_a_tone_runs_on_from_section_to_section() -> None:
    """The phase at the start of the second section is where `start_s` says; half a sample off would show."""
    rate_hz, hz = 44_100, 440.123
    found = list(sections(_recording(tone(hz, rate_hz, duration_s=60.0, amplitude=_AMPLITUDE), rate_hz)))
    assert len(found) == 2
    second = found[1]
    time_s = second.start_s + np.arange(len(second.signal)) / second.rate_hz
    inner = np.s_[64:-64]
    true = _AMPLITUDE * np.cos(2 * np.pi * hz * time_s)
    # float32 phases of `tone` are computed in float64: what is left is the ripple alone.
    assert float(np.max(np.abs(second.signal - true)[inner])) < 2 * _RIPPLE * _AMPLITUDE
    late = _AMPLITUDE * np.cos(2 * np.pi * hz * (time_s + 0.5 / rate_hz))
    assert float(np.max(np.abs(second.signal - late)[inner])) > 20 * _RIPPLE * _AMPLITUDE
