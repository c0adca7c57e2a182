"""HarmonicSources fitted at once: two a cent apart come out exactly; one after the other they do not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.sound.dsp.decimation import Section
from canebench.sound.dsp.harmonic_source import HarmonicSource, taken_from
from canebench.sound.dsp.joint_fit import fit_step, fit_until_still
from canebench.sound.dsp.stft import Frames, frames_of
from support.pitch import assert_within_cents

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray

_RATE_HZ = 12_000.0
_PARTIALS = 16
_SPREAD_HZ = 0.15
_LOW_HZ = 239.7
#: The phases stop within a thousandth of a cycle over the take; what is left is their last step.
_CENTS = 1.5e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A steady harmonic source with known partials, phases at time 0."""

    hz: float
    amplitude: ComplexArray

    def signal(self, time_s: FloatArray) -> FloatArray:
        """Its sound."""
        numbers = np.arange(1, _PARTIALS + 1)
        turns = np.exp(2j * np.pi * self.hz * np.outer(time_s, numbers))
        return np.asarray((turns @ self.amplitude).real)


def _source(hz: float, seed: int) -> Source:
    rng = np.random.default_rng(seed)
    level = 0.1 * 10 ** (rng.uniform(-6, 0, _PARTIALS) / 20)
    return Source(hz=hz, amplitude=level * np.exp(1j * rng.uniform(0, 2 * np.pi, _PARTIALS)))


def _frames(*sources: Source, duration_s: float = 12.0) -> Frames:
    time_s = np.arange(round(duration_s * _RATE_HZ)) / _RATE_HZ
    signal = np.sum([source.signal(time_s) for source in sources], axis=0)
    return frames_of(Section(signal=signal, rate_hz=_RATE_HZ, start_s=0.0)).thinned()


def _guess(frames: Frames, hz: float) -> HarmonicSource:
    rows = np.arange(frames.count)
    return HarmonicSource(
        rows=rows,
        numbers=np.arange(1, _PARTIALS + 1),
        freq_hz=np.full(len(rows), hz),
        cycles=hz * frames.hop_s * np.arange(len(rows)),
        amplitude=np.zeros((1, _PARTIALS), dtype=complex),
    )


def _fitted(frames: Frames, *near_hz: float) -> tuple[HarmonicSource, ...]:
    voices = [_guess(frames, hz) for hz in near_hz]
    fit = fit_step(frames, voices, spread_hz=_SPREAD_HZ, phases=False)
    return fit_until_still(frames, fit, spread_hz=_SPREAD_HZ, most=12).sources


def _mean_hz(voice: HarmonicSource, frames: Frames) -> float:
    return float((voice.cycles[-1] - voice.cycles[0]) / (frames.hop_s * (frames.count - 1)))


def _amplitude_error(voice: HarmonicSource, source: Source, frames: Frames) -> float:
    """Largest error of a partial's complex amplitude in mid-take, as a part of it."""
    middle = frames.count // 2
    time_s = frames.times_s[middle]
    found = voice.amplitude[middle if len(voice.amplitude) > 1 else 0] * np.exp(
        2j * np.pi * voice.numbers * voice.cycles[middle]
    )
    true = source.amplitude * np.exp(2j * np.pi * voice.numbers * source.hz * time_s)
    return float(np.max(np.abs(found - true) / np.abs(true)))


@pytest.mark.parametrize("apart_cents", [1.0, 2.5, 9.0])
@pytest.mark.parametrize("seed", [5_301, 5_302, 5_303])
def test_two_voices_close_together_come_out_exactly(apart_cents: float, seed: int) -> None:
    """From guesses 0.05 cent off: pitches to 1.5e-3 cent, every partial's amplitude and phase to 5 %."""
    low, high = _source(_LOW_HZ, seed), _source(_LOW_HZ * 2 ** (apart_cents / 1200), seed + 100)
    frames = _frames(low, high)
    guesses = (low.hz * 2 ** (-0.05 / 1200), high.hz * 2 ** (0.05 / 1200))
    voices = _fitted(frames, *guesses)
    for voice, source in zip(voices, (low, high), strict=True):
        assert_within_cents(_mean_hz(voice, frames), source.hz, cents=_CENTS)
        assert _amplitude_error(voice, source, frames) < 0.05


@pytest.mark.parametrize("seed", [5_301, 5_302, 5_303])
def test_control_one_after_the_other_fails_the_same_gate(seed: int) -> None:
    """The first voice takes a share of the second with it, even when started at its true pitch."""
    low, high = _source(_LOW_HZ, seed), _source(_LOW_HZ * 2 ** (1.0 / 1200), seed + 100)
    frames = _frames(low, high)
    (first,) = _fitted(frames, low.hz)
    (second,) = _fitted(taken_from(frames, [first]), high.hz)
    worst_cents = max(
        abs(1200 * np.log2(_mean_hz(voice, frames) / source.hz))
        for voice, source in ((first, low), (second, high))
    )
    assert worst_cents > _CENTS
    assert max(_amplitude_error(first, low, frames), _amplitude_error(second, high, frames)) > 0.05


def test_true_voices_stand_still() -> None:
    """Started at the truth the fit moves by less than a millionth of a cycle."""
    low, high = _source(_LOW_HZ, 5_304), _source(_LOW_HZ * 2 ** (1.0 / 1200), 5_305)
    frames = _frames(low, high)
    voices = [_guess(frames, source.hz) for source in (low, high)]
    fit = fit_step(frames, voices, spread_hz=_SPREAD_HZ, phases=False)
    assert fit_step(frames, fit.sources, spread_hz=_SPREAD_HZ).moved_cycles < 1e-5


def test_three_voices_of_a_set_of_drones_come_out() -> None:
    """A bass an octave below two tenors that are 3 cents apart: every even partial of it is shared."""
    bass = _source(_LOW_HZ / 2 * 2 ** (2.0 / 1200), 5_306)
    tenors = _source(_LOW_HZ, 5_307), _source(_LOW_HZ * 2 ** (3.0 / 1200), 5_308)
    frames = _frames(bass, *tenors)
    voices = _fitted(frames, *(source.hz * 2 ** (0.03 / 1200) for source in (bass, *tenors)))
    for voice, source in zip(voices, (bass, *tenors), strict=True):
        assert_within_cents(_mean_hz(voice, frames), source.hz, cents=_CENTS)


def test_a_note_that_comes_between_disturbs_little() -> None:
    """A loud source in a quarter of the frames, unknown to the fit, bends the mean by under 0.01 cent."""
    voice = _source(_LOW_HZ, 5_309)
    frames = _frames(voice)
    passing = _frames(_source(_LOW_HZ * 1.013, 5_310))
    spectrum = frames.spectrum.copy()
    quarter = slice(frames.count // 4, frames.count // 2)
    spectrum[quarter] += 3 * passing.spectrum[quarter]
    (found,) = _fitted(frames.replaced(spectrum), voice.hz * 2 ** (0.05 / 1200))
    assert_within_cents(_mean_hz(found, frames), voice.hz, cents=0.01)
