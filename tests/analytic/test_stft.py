"""Spectra of short frames: a lone partial is read exactly wherever it falls between the bins."""

from __future__ import annotations

import numpy as np
import pytest

from canebench.sound.dsp.decimation import Section
from canebench.sound.dsp.stft import Frames, amplitudes, frames_of, lobes, overlap

_RATE_HZ = 12_000.0
_AMPLITUDE, _PHASE = 0.3, 0.7
#: The window's table has 8192 steps a bin, its steepest slope is about 0.5 a bin: 3e-5 at the worst bin.
#: What is left of the mirror image at negative frequencies falls with the cube of the distance in bins.
_EXACT = 5e-5


def _partial(hz: float, *, duration_s: float = 2.0, start_s: float = 0.0) -> Frames:
    time_s = np.arange(round(duration_s * _RATE_HZ)) / _RATE_HZ
    signal = _AMPLITUDE * np.cos(2 * np.pi * hz * time_s + _PHASE)
    return frames_of(Section(signal=signal, rate_hz=_RATE_HZ, start_s=start_s))


def _worst(frames: Frames, hz: float) -> float:
    """Largest error of the complex amplitude, as a part of the amplitude, over all frames."""
    read = amplitudes(frames, np.full((frames.count, 1), hz))[:, 0]
    true = _AMPLITUDE * np.exp(1j * (2 * np.pi * hz * frames.times_s + _PHASE))
    return float(np.max(np.abs(read - true))) / _AMPLITUDE


@pytest.mark.parametrize("bins", [10.0, 36.69, 40.5, 40.906, 85.5998, 200.3, 368.79])
def test_a_partial_off_the_bins_is_read_with_amplitude_and_phase(bins: float) -> None:
    """Amplitude and phase together within 5e-5 of the amplitude, at bin centres and between them."""
    frames = _partial(bins * _partial(440.0).bin_hz)
    assert _worst(frames, bins * frames.bin_hz) < _EXACT


def test_control_the_nearest_bin_alone_is_far_off() -> None:
    """What the least-squares read is for: half a bin away the plain bin has lost 15 % (Hann's scalloping)."""
    frames = _partial(40.5 * _partial(440.0).bin_hz)
    plain = np.abs(frames.spectrum[:, 40])
    assert float(np.max(np.abs(plain - _AMPLITUDE))) > 0.1 * _AMPLITUDE


def test_control_phases_that_refer_to_another_instant_are_seen() -> None:
    """A tenth of a millisecond between the frame's centre and the stated time would be caught."""
    frames = _partial(440.0)
    late = Frames(
        spectrum=frames.spectrum, bin_hz=frames.bin_hz, hop_s=frames.hop_s, start_s=frames.start_s + 1e-4
    )
    assert _worst(late, 440.0) > 100 * _EXACT


def test_every_window_lies_whole_within_the_section() -> None:
    """Centres run from half a window in to half a window before the end, evenly."""
    frames = _partial(440.0, duration_s=2.0)
    half_s = 0.5 / frames.bin_hz
    assert frames.times_s[0] == pytest.approx(half_s)
    assert 2.0 - half_s - frames.hop_s < frames.times_s[-1] <= 2.0 - half_s + 1e-9
    np.testing.assert_allclose(np.diff(frames.times_s), frames.hop_s)
    assert frames.thinned().times_s == pytest.approx(frames.times_s[::2])


def test_a_voice_taken_out_leaves_nothing() -> None:
    """A partial subtracted at its true amplitude leaves the far side lobes of the Hann window only."""
    hz = 440.0
    frames = _partial(hz)
    at = lobes(frames, np.full((frames.count, 1), hz))
    spectrum = frames.spectrum.copy()
    at.take_out(spectrum, at.read(frames))
    assert float(np.max(np.abs(spectrum))) < 0.01 * _AMPLITUDE
    assert float(np.max(np.abs(frames.spectrum))) > 0.8 * _AMPLITUDE


def _shown(reader_bins: float, distance_bins: float) -> float:
    """Part of a rendered partial that shows in the amplitude read `distance_bins` below it."""
    bin_hz = _partial(440.0).bin_hz
    hz = (reader_bins + distance_bins) * bin_hz
    frames = _partial(hz)
    true = _AMPLITUDE * np.exp(1j * (2 * np.pi * hz * frames.times_s + _PHASE))
    ratio = amplitudes(frames, np.full((frames.count, 1), reader_bins * bin_hz))[:, 0] / true
    assert float(np.max(np.abs(ratio.imag))) < 1e-3
    return float(np.mean(ratio.real))


@pytest.mark.parametrize("distance_bins", [0.0, 0.03, 0.5, 1.0, 1.7, 2.5, 3.5])
def test_overlap_is_what_one_partial_shows_at_anothers_place(distance_bins: float) -> None:
    """`overlap(d)` is exact for a place at a bin's centre; elsewhere between bins it is good to 5e-3."""
    told = float(overlap(np.array([distance_bins]))[0])
    assert _shown(40.0, distance_bins) == pytest.approx(told, abs=2e-4)
    for reader_bins in (39.5, 39.8, 40.3):
        assert _shown(reader_bins, distance_bins) == pytest.approx(told, abs=5e-3)
    assert float(overlap(np.array([-distance_bins]))[0]) == told


def test_control_the_windows_own_transform_is_not_the_overlap() -> None:
    """The Hann transform itself (0.849 at half a bin, 0.5 at one) fails the gate above."""
    for distance_bins, transform in ((0.5, 0.849), (1.0, 0.5)):
        assert abs(_shown(40.0, distance_bins) - transform) > 5e-2


def test_overlap_far_away_is_nothing() -> None:
    assert float(np.max(np.abs(overlap(np.array([8.5, 20.0, -40.0]))))) == 0.0
