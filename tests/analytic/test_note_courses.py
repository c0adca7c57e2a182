"""The truth of takes made from recordings, on sounds whose course is known: drift, vibrato, cuts, joints."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.units import CENTS_PER_NEPER
from real_takes.course import course_of, rough_pitch_hz
from real_takes.sources import Instrument, Source, source_of
from real_takes.takes import take_of
from real_takes.voices import RATE_HZ, drone_voice, note_voice
from support.pitch import assert_within_cents

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

_RATE_HZ = 44_100.0
#: What the truth of a take is good to.
_GATE_CENTS = 0.01
_SPAN_S = (0.4, 2.3)
_VIBRATO_HZ = 5.5
#: What a joint of two places of a recording costs.
_JOINED_CENTS = 0.01


def _cycles(hz: float, duration_s: float, *, drift: float, vibrato: float) -> FloatArray:
    """Cycles that have passed at each sample; drift in cents a second, vibrato in cents of amplitude."""
    time_s = np.arange(round(duration_s * _RATE_HZ)) / _RATE_HZ
    turning = 2 * np.pi * _VIBRATO_HZ
    cents_s = 0.5 * drift * time_s**2 + vibrato / turning * (1 - np.cos(turning * time_s))
    return np.asarray(hz * (time_s + cents_s / CENTS_PER_NEPER))


def _sound(cycles: FloatArray, levels: FloatArray, seed: int) -> FloatArray:
    """Partials of those levels at phases by chance, with a little noise."""
    rng = np.random.default_rng(seed)
    partials = [level * np.cos(2 * np.pi * (k * cycles + rng.uniform())) for k, level in enumerate(levels, 1)]
    return np.asarray(np.sum(partials, axis=0) + 1e-3 * rng.standard_normal(len(cycles)))


def _true_hz(cycles: FloatArray, start_s: float, end_s: float) -> float:
    first, last = (cycles[round(at * _RATE_HZ)] for at in (start_s, end_s))
    return float((last - first) / (end_s - start_s))


def _source(hz: float, name: str, seed: int) -> Source:
    cycles = _cycles(hz, 3.0, drift=2.0, vibrato=3.0)
    source = source_of(name, _sound(cycles, 1 / np.arange(1, 11), seed), _RATE_HZ)
    assert source is not None
    return source


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("drift", "vibrato"), [(0.0, 0.0), (4.0, 0.0), (-3.0, 4.0)])
def test_the_course_of_a_known_sound_is_found(drift: float, vibrato: float, seed: int) -> None:
    """Partials whose loudness comes in no order: the mean is right, and the halves of the partials agree."""
    rng = np.random.default_rng(seed)
    cycles = _cycles(float(rng.uniform(200, 900)), 3.0, drift=drift, vibrato=vibrato)
    samples = _sound(cycles, rng.uniform(0.1, 1.0, 10), seed)
    course = course_of(samples, _RATE_HZ, rough_pitch_hz(samples, _RATE_HZ))
    true_hz = _true_hz(cycles, *_SPAN_S)
    assert_within_cents(course.mean_hz(*_SPAN_S), true_hz, cents=_GATE_CENTS)
    unsure_hz = abs(course.unsure_cycles(*_SPAN_S)) / (_SPAN_S[1] - _SPAN_S[0])
    assert unsure_hz / true_hz * CENTS_PER_NEPER < _GATE_CENTS
    with pytest.raises(AssertionError, match="allowed"):  # control: three gates off
        assert_within_cents(
            course.mean_hz(*_SPAN_S), true_hz * 2 ** (3 * _GATE_CENTS / 1200), cents=_GATE_CENTS
        )


@pytest.mark.parametrize("loudest", [1, 2, 3, 5])
def test_a_loud_partial_is_not_the_fundamental(loudest: int) -> None:
    """Whichever partial is loudest, 20 dB over the others, the fundamental is found."""
    levels = np.full(10, 0.1)
    levels[loudest - 1] = 1.0
    samples = _sound(_cycles(217.9, 2.0, drift=1.0, vibrato=0.0), levels, 2)
    assert_within_cents(rough_pitch_hz(samples, _RATE_HZ), 217.9, cents=15)


def test_the_truth_moves_with_the_sound() -> None:
    """Cut, moved by two semitones and prolonged threefold: the course still is that of what now sounds."""
    source, target_hz = _source(160.0, "made-drone", 1), 160.0 * 2 ** (2 / 12)
    note = note_voice(source, target_hz, 2.0, np.random.default_rng(2))
    drone = drone_voice(source, target_hz, 7.0, np.random.default_rng(3), glide_cents=0.0, glide_s=1.0)
    for voice, spans in ((note, [(0.2, 1.7)]), (drone, [(0.2, 6.8), (1.0, 3.0), (0.2, 4.5)])):
        found = course_of(voice.samples, RATE_HZ, target_hz)
        for span_s in spans:
            heard_hz = found.mean_hz(*span_s)
            assert_within_cents(voice.course.mean_hz(*span_s), heard_hz, cents=_JOINED_CENTS)
            with pytest.raises(AssertionError, match="allowed"):  # control: as if nothing had been moved
                assert_within_cents(source.course.mean_hz(0.2, 2.8), heard_hz, cents=_JOINED_CENTS)


def test_a_take_holds_what_its_truth_says() -> None:
    """Each long note's course, found once more in the take's chanter; so too each drone's."""
    notes = tuple(_source(hz, "made", seed) for seed, hz in enumerate((430.0, 500.0, 590.0, 690.0, 820.0)))
    drones = (_source(110.0, "made-drone", 8), _source(230.0, "made-drone", 9))
    take = take_of(4, [Instrument(name="made", notes=notes, drones=drones)], "short", "apart")
    held = [event for event in take.events if event.end_s - event.start_s > 0.6][:9]
    assert held
    for event in held:
        first_s, last_s = event.start_s + 0.15, event.end_s - 0.15
        gained, _ = event.gained_cycles(first_s, last_s)
        true_hz = gained / (last_s - first_s)
        part = take.chanter[round(event.start_s * RATE_HZ) : round(event.end_s * RATE_HZ)]
        heard = course_of(part, RATE_HZ, true_hz).mean_hz(first_s - event.start_s, last_s - event.start_s)
        assert_within_cents(true_hz, heard, cents=0.002)
    for _, voice in take.drone_voices:
        heard = course_of(voice.samples, RATE_HZ, voice.course.mean_hz(0.2, 2.0)).mean_hz(0.5, 6.0)
        assert_within_cents(take.drone_hz(voice, [(0.5, 6.0)]), heard, cents=_JOINED_CENTS)
