"""Spectra of rendered pipes, by the FFT: fundamentals weak, holes, no two notes alike, drones dark."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.notes import NOTES
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes, still

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray, SampleArray

_RATE_HZ = 24_000.0
_LOW_A_HZ = 476.0
_STILL = Recipe(
    low_a_hz=_LOW_A_HZ, notes=scale_notes(duration_s=1.5), seed=7_101, rate_hz=_RATE_HZ, behaviour=still()
)
#: A real tenor's partials 1 to 11, as measured in a recording (dB); written out here again on purpose.
_REAL_TENOR_DB = np.array([-6, -14, -13, -17, -14, -26, -29, -39, -50, -54, -49], dtype=float)


def _partials_db(samples: SampleArray | FloatArray, hz: float, count: int) -> FloatArray:
    """Levels of the first partials by a Hann-windowed FFT, the largest bin near each."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), 4 * len(samples)))
    freq = np.fft.rfftfreq(4 * len(samples), 1 / _RATE_HZ)
    near = [np.max(spectrum[np.abs(freq - k * hz) < 4.0]) for k in range(1, count + 1)]
    return np.asarray(20 * np.log10(near))


def _weak_below(levels: FloatArray) -> bool:
    """The fundamental 4 to 19 dB under the strongest, which is the third to fifth; to 0.2 dB."""
    return int(np.argmax(levels)) + 1 in (3, 4, 5) and -19.2 <= levels[0] - levels.max() <= -3.8


def _spectra(recipe: Recipe) -> dict[str, FloatArray]:
    """Nine partials of every note, dB under the strongest."""
    recording, truth = render(recipe)
    found = {}
    for event in truth.events:
        if event.note is None:
            continue
        first, last = (round(s * _RATE_HZ) for s in (event.start_s + 0.3, event.end_s - 0.02))
        hz = truth.chanter_hz(event.start_s + 0.3, event.end_s - 0.02)
        levels = _partials_db(recording.samples[first:last], hz, 9)
        found[event.note] = levels - levels.max()
    return found


@pytest.fixture(scope="module")
def chanters() -> list[dict[str, FloatArray]]:
    return [_spectra(replace(_STILL, seed=seed)) for seed in range(7_110, 7_114)]


def test_a_fundamental_lies_4_to_19_db_under_the_strongest_of_three_to_five(
    chanters: list[dict[str, FloatArray]],
) -> None:
    for chanter in chanters:
        assert set(chanter) == set(NOTES)
        assert all(_weak_below(levels) for levels in chanter.values())
    # They use that room, and are not all the same.
    weakness = [levels[0] for chanter in chanters for levels in chanter.values()]
    assert np.ptp(weakness) > 10.0
    assert np.mean(weakness) < -9.0


def test_control_a_textbook_s_fundamentals_are_not_so_weak() -> None:
    levels = _spectra(replace(_STILL, behaviour=None))
    assert not all(_weak_below(note) for note in levels.values())
    assert np.mean([note[0] for note in levels.values()]) > -8.0


def test_some_partials_are_30_db_down(chanters: list[dict[str, FloatArray]]) -> None:
    """Most notes have such a hole among the second to eighth partial, and not all."""
    holes = [-34.0 < min(levels[1:8]) < -27.0 for chanter in chanters for levels in chanter.values()]
    assert 0.4 < np.mean(holes) <= 0.95


def test_no_note_sounds_like_another_and_no_chanter_like_another(
    chanters: list[dict[str, FloatArray]],
) -> None:
    every = [levels for chanter in chanters for levels in chanter.values()]
    apart = [float(np.sqrt(np.mean((a - b) ** 2))) for i, a in enumerate(every) for b in every[:i]]
    assert min(apart) > 1.5
    # Control: the same note of the same chanter is like itself.
    assert _spectra(replace(_STILL, seed=7_110))["E"] == pytest.approx(chanters[0]["E"], abs=1e-6)


def _drone_alone(plan: DronePlan, seed: int) -> SampleArray:
    recipe = Recipe(
        low_a_hz=_LOW_A_HZ,
        notes=scale_notes("B", duration_s=3.0),
        seed=seed,
        rate_hz=_RATE_HZ,
        drones=plan,
        behaviour=still(),
    )
    return render(recipe)[0].samples[round(0.5 * _RATE_HZ) :]


@pytest.mark.parametrize("seed", [7_120, 7_121])
def test_a_tenor_falls_as_a_real_one_does(seed: int) -> None:
    """Eleven partials within 3 dB of the measured ones, but for a level in common."""
    tenor_hz = _LOW_A_HZ / 2 * 2 ** (300 / 1200)
    samples = _drone_alone(DronePlan(level_db=90.0, tenor_cents=(300.0,)), seed)
    off = _partials_db(samples, tenor_hz, 11) - _REAL_TENOR_DB
    assert np.ptp(off) < 6.0
    # Control: 6 dB an octave is no tenor.
    slope = _partials_db(samples, tenor_hz, 11) + 6 * np.log2(np.arange(1, 12))
    assert np.ptp(slope) > 12.0


def test_drones_hold_little_above_3_khz() -> None:
    samples = _drone_alone(DronePlan(level_db=90.0), 7_122)
    power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    freq = np.fft.rfftfreq(len(samples), 1 / _RATE_HZ)
    assert 10 * np.log10(np.sum(power[freq > 3_200]) / np.sum(power)) < -40.0
    assert 10 * np.log10(np.sum(power[freq > 1_000]) / np.sum(power)) > -25.0


def test_a_bass_s_odd_partials_are_the_stronger() -> None:
    levels = _partials_db(_drone_alone(DronePlan(level_db=90.0, tenor_cents=()), 7_123), _LOW_A_HZ / 4, 12)
    between = [levels[k] - (levels[k - 1] + levels[k + 1]) / 2 for k in range(2, 10, 2)]
    assert np.mean(between) > 2.0
