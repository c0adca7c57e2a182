"""Drones followed from estimate to estimate, against drones made here whose phases are known."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.sound.dsp.decimation import Section
from canebench.sound.dsp.harmonic_source import HarmonicSource, taken_from
from canebench.sound.dsp.joint_fit import fit_step
from canebench.sound.dsp.stft import amplitudes, frames_of
from canebench.sound.live import drone_tracking
from canebench.sound.live.drone_tracking import MOST_LEFT, Drones, drones_of, followed

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.dsp.stft import Frames

_RATE_HZ = 12_000.0
_HZ = np.array([119.5, 239.1, 238.8])
_AMPLITUDE = [
    0.3 * np.exp(2j * np.pi * turn * np.arange(1, count + 1)) / np.arange(1, count + 1) ** 0.8
    for turn, count in ((0.13, 24), (0.37, 12), (0.71, 12))
]
_SPAN, _HOP = 13, 2


def _cycles(time: FloatArray, wander_cents: float) -> FloatArray:
    """Phase of each drone [shape=(3, m)], its pitch wavering within a second or two."""
    rate = np.array([0.9, 1.3, 1.1])
    swing = _HZ * (2 ** (wander_cents / 1200) - 1) / (2 * np.pi * rate)
    wander = swing[:, None] * (1 - np.cos(2 * np.pi * np.outer(rate, time)))
    return np.asarray(np.outer(_HZ, time) + wander)


def _frames(*, wander_cents: float = 0.5, note: float = 0.0, until_s: float = 6.0) -> Frames:
    """Six seconds of drones, with a note of four partials dead on those of the first tenor after 2 s."""
    time = np.arange(round(6.0 * _RATE_HZ)) / _RATE_HZ
    cycles = _cycles(time, wander_cents)
    signal = np.zeros(len(time))
    for own, amplitude in zip(cycles, _AMPLITUDE, strict=True):
        for k, a in enumerate(amplitude, start=1):
            signal += (a * np.exp(2j * np.pi * k * own)).real
    signal[time > until_s] = 0
    for k in (1, 2, 3, 4):
        signal[time > 2.0] += note / k * np.cos(2 * np.pi * 2 * k * _HZ[1] * time[time > 2.0] + k)
    noise = 1e-4 * np.random.default_rng(1).normal(size=len(signal))
    return frames_of(Section(signal=signal + noise, rate_hz=_RATE_HZ, start_s=0.0))


def _heard(frames: Frames, wander_cents: float = 0.5) -> Drones:
    """What an analysis of the first second would give."""
    rows = np.arange(40)
    cycles = _cycles(frames.times_s[rows], wander_cents)
    voices = [
        HarmonicSource(
            rows=rows,
            numbers=np.arange(1, len(amplitude) + 1),
            freq_hz=np.gradient(own, frames.hop_s),
            cycles=own,
            amplitude=amplitude[None, :],
        )
        for own, amplitude in zip(cycles, _AMPLITUDE, strict=True)
    ]
    drones = drones_of(voices, first_s=frames.start_s, hop_s=frames.hop_s, top_hz=3_000.0)
    assert drones is not None
    return drones


def _to_the_end(frames: Frames, drones: Drones) -> tuple[Drones, Frames, list[float]]:
    shares = []
    for start in range(40, frames.count - _SPAN, _HOP):
        drones, rest, left = followed(frames.between(start, start + _SPAN), drones)
        shares.append(left)
    return drones, rest, shares


def _energy(frames: Frames) -> float:
    return float(np.mean(np.abs(frames.spectrum) ** 2))


@pytest.mark.parametrize("note", [0.0, 0.3])
def test_phases_are_followed_for_seconds_with_a_note_on_the_drones(note: float) -> None:
    frames = _frames(note=note)
    drones, _, shares = _to_the_end(frames, _heard(frames))
    off = drones.cycles - _cycles(np.array([drones.at_s]), 0.5)[:, 0]
    assert np.max(np.abs(off)) < 0.03
    assert max(shares) < 0.1


def test_hardly_anything_is_left_of_them() -> None:
    frames = _frames()
    _, rest, _ = _to_the_end(frames, _heard(frames))
    assert _energy(rest) < 5e-3 * _energy(frames)


def test_control_not_followed_they_are_left(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(drone_tracking, "_STEPS", 0)
    frames = _frames()
    _, rest, shares = _to_the_end(frames, _heard(frames))
    assert _energy(rest) > 0.1 * _energy(frames)
    assert max(shares) > MOST_LEFT


def test_a_note_dead_on_the_drones_is_left_whole() -> None:
    frames = _frames(note=0.2)
    _, rest, _ = _to_the_end(frames, _heard(frames))
    read = np.mean(np.abs(amplitudes(rest, np.tile(2 * _HZ[1] * np.arange(1, 5), (rest.count, 1)))), axis=0)
    assert read == pytest.approx(0.2 / np.arange(1, 5), rel=0.15)


def test_control_drones_fitted_anew_in_so_short_a_time_swallow_it() -> None:
    frames = _frames(note=0.2)
    last = frames.between(frames.count - _SPAN, frames.count)
    time = last.hop_s * np.arange(_SPAN)
    voices = [
        HarmonicSource(
            rows=np.arange(_SPAN),
            numbers=np.arange(1, len(amplitude) + 1),
            freq_hz=np.full(_SPAN, hz),
            cycles=hz * time,
            amplitude=np.zeros((1, len(amplitude)), complex),
        )
        for hz, amplitude in zip(_HZ, _AMPLITUDE, strict=True)
    ]
    rest = taken_from(last, fit_step(last, voices, spread_hz=0.3, phases=False).sources)
    read = np.mean(np.abs(amplitudes(rest, np.tile(2 * _HZ[1] * np.arange(1, 5), (_SPAN, 1)))), axis=0)
    assert np.max(read * np.arange(1, 5)) < 0.1


def test_drones_that_stop_are_noticed() -> None:
    frames = _frames(until_s=3.0)
    _, _, shares = _to_the_end(frames, _heard(frames))
    before, after = shares[: len(shares) // 4], shares[-len(shares) // 3 :]
    assert max(before) < MOST_LEFT < min(after)


def test_without_drones_there_is_nothing_to_follow() -> None:
    assert drones_of([], first_s=0.0, hop_s=0.02, top_hz=3_000.0) is None
