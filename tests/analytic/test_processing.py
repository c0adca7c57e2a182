"""What was done to a recording is remarked, each kind by its own finding, and an honest take by none."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.signal import resample, resample_poly

from canebench.sound.analysis.drones.drone_runs import DroneRun
from canebench.sound.analysis.measure import measure
from canebench.sound.analysis.processing import _waver_cents
from canebench.sound.dsp.harmonic_source import HarmonicSource
from canebench.sound.dsp.joint_fit import Fit
from canebench.sound.files.recording import Recording
from canebench.sound.synth import DronePlan, Recipe, Truth, render, scale_notes
from support.takes import codes

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.analysis.readings import DroneName

_RATE_HZ = 16_000.0
_SEEDS = (5_841, 5_842, 5_843)
_RECIPE = Recipe(
    low_a_hz=473.0,
    notes=scale_notes("low A", "B", "D", "E", "high A", duration_s=1.5),
    seed=_SEEDS[0],
    rate_hz=_RATE_HZ,
    snr_db=25.0,
    rt60_s=0.4,
    drones=DronePlan(bass_cents=4.0, tenor_cents=(3.0, -4.0), wander_cents=0.3),
)
#: All findings that say what was done to a recording.
_DONE = {"some-clipping", "band-limited", "non-linear", "variable-speed", "gain-changes"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """A take that nothing was done to."""

    samples: FloatArray
    truth: Truth


@pytest.fixture(scope="module")
def played() -> dict[int, Played]:
    """The same five notes over drones, for each seed."""
    found = {}
    for seed in _SEEDS:
        recording, truth = render(replace(_RECIPE, seed=seed))
        found[seed] = Played(samples=recording.samples.astype(float), truth=truth)
    return found


def _done(samples: FloatArray, rate_hz: float = _RATE_HZ) -> set[str]:
    """What is said to have been done to the take."""
    take = Recording(samples=samples.astype(np.float32), rate_hz=rate_hz, origin="test")
    return set(codes(measure(take))) & _DONE


@pytest.mark.parametrize("seed", _SEEDS)
def test_control_an_honest_take_has_no_such_finding(seed: int, played: dict[int, Played]) -> None:
    """The very take that all the others here are made of."""
    assert _done(played[seed].samples) == set()


@pytest.mark.parametrize("drive", [2.0, 4.0])
@pytest.mark.parametrize("seed", _SEEDS)
def test_a_limiter_leaves_combination_tones(seed: int, drive: float, played: dict[int, Played]) -> None:
    """The hyperbolic tangent of the take, driven 6 and 12 dB over full scale."""
    assert _done(np.tanh(drive * played[seed].samples) / np.tanh(drive)) == {"non-linear"}


@pytest.mark.parametrize("seed", _SEEDS)
def test_a_telephones_band_is_remarked(seed: int) -> None:
    recording, _ = render(replace(_RECIPE, seed=seed, rate_hz=8_000.0))
    assert _done(recording.samples, 8_000.0) == {"band-limited"}


@pytest.mark.parametrize("seed", _SEEDS)
def test_a_telephones_band_at_a_full_rate_is_remarked(seed: int) -> None:
    """The same at 48 kHz, as a converted file is: above 4 kHz there is nothing."""
    recording, _ = render(replace(_RECIPE, seed=seed, rate_hz=8_000.0))
    samples = recording.samples.astype(float)
    assert _done(np.asarray(resample(samples, 6 * len(samples))), 48_000.0) == {"band-limited"}


def _at_varying_speed(samples: FloatArray, *, cents: float, rate_hz: float) -> FloatArray:
    """The take as a player would give it whose speed swings by ±`cents`, `rate_hz` times a second."""
    fine = 8
    time_s = np.arange(len(samples)) / _RATE_HZ
    place = np.cumsum(np.exp2(cents / 1200 * np.sin(2 * np.pi * rate_hz * time_s)))
    between = resample_poly(samples, fine, 1)
    return np.asarray(np.interp(fine * place[place < len(samples) - 1], np.arange(len(between)), between))


@pytest.mark.parametrize("swing_hz", [0.2, 0.4])
@pytest.mark.parametrize("seed", _SEEDS)
def test_a_varying_speed_is_remarked(seed: int, swing_hz: float, played: dict[int, Played]) -> None:
    """±3 cents, slowly, on chanter and drones alike."""
    samples = _at_varying_speed(played[seed].samples, cents=3.0, rate_hz=swing_hz)
    assert _done(samples) == {"variable-speed"}


def _run(*tracks_cents: FloatArray) -> DroneRun:
    """Drones on these courses, a bass and tenors above it."""
    names: tuple[DroneName, ...] = ("bass", "tenor", "tenor")
    voices = tuple(
        HarmonicSource(
            rows=np.arange(len(track)),
            numbers=np.arange(1, 3),
            freq_hz=(120.0 if index == 0 else 240.0) * np.exp2(track / 1200),
            cycles=np.zeros(len(track)),
            amplitude=np.ones((1, 2), dtype=complex),
        )
        for index, track in enumerate(tracks_cents)
    )
    fit = Fit(sources=voices, residuals=(), weights=(), moved_cycles=0.0)
    return DroneRun(names=names[: len(voices)], fit=fit, sources=voices)


def test_only_drones_that_waver_alike_tell_of_the_speed() -> None:
    """Courses of 2 cents RMS: alike, apart, of other sizes, and a lone bass."""
    time_s = np.arange(600) * 0.0213
    swing = 2 * np.sqrt(2) * np.sin(2 * np.pi * 0.3 * time_s)
    other = 2 * np.sqrt(2) * np.sin(2 * np.pi * 0.4 * time_s + 1)
    assert _waver_cents(_run(swing, swing, swing)) == pytest.approx(2.0, rel=0.02)
    assert _waver_cents(_run(swing, swing, other)) is None
    assert _waver_cents(_run(swing, other)) is None
    assert _waver_cents(_run(swing, 0.5 * swing, swing)) is None
    assert _waver_cents(_run(0.3 * swing, 0.3 * swing)) is None
    assert _waver_cents(_run(swing)) is None


@pytest.mark.parametrize("wander_cents", [0.5, 1.5])
@pytest.mark.parametrize("seed", _SEEDS)
def test_control_drones_that_waver_each_on_its_own_are_no_varying_speed(
    seed: int, wander_cents: float
) -> None:
    drones = DronePlan(bass_cents=4.0, tenor_cents=(3.0, -4.0), wander_cents=wander_cents)
    recording, _ = render(replace(_RECIPE, seed=seed, drones=drones))
    assert _done(recording.samples) == set()


def _over_drones(seed: int, *, duck_db: float) -> FloatArray:
    """Five notes with pauses over drones of the same strength, ducked by `duck_db` while a note sounds."""
    chanter, truth = render(replace(_RECIPE, seed=seed, drones=None, pause_s=1.0))
    count = len(chanter.samples)
    alone = replace(_RECIPE, seed=seed + 10, lead_s=count / _RATE_HZ, notes=scale_notes("B", duration_s=0.1))
    drones = render(alone)[0].samples[:count]
    time_s = np.arange(count) / _RATE_HZ
    sounding = np.any([(time_s >= e.start_s) & (time_s < e.end_s) for e in truth.events if e.note], axis=0)
    ramp = np.hanning(round(0.1 * _RATE_HZ))
    gain_db = np.convolve(-duck_db * sounding, ramp / ramp.sum(), mode="same")
    mix = chanter.samples / np.std(chanter.samples) + 10 ** (gain_db / 20) * drones / np.std(drones)
    return np.asarray(0.7 * mix / np.max(np.abs(mix)))


@pytest.mark.parametrize("seed", _SEEDS)
def test_gain_that_follows_the_chanter_is_remarked(seed: int) -> None:
    """As automatic gain or noise suppression does, by 10 dB. Control: the same mix at one gain."""
    assert _done(_over_drones(seed, duck_db=10.0)) == {"gain-changes"}
    assert _done(_over_drones(seed, duck_db=0.0)) == set()


@pytest.mark.parametrize("seed", _SEEDS)
def test_a_little_clipping_is_remarked(seed: int) -> None:
    """0.3 % of the samples at the ceiling: a remark, no refusal, and at most its combination tones beside."""
    recipe = replace(_RECIPE, seed=seed, rate_hz=48_000.0, notes=scale_notes("low A", "E", duration_s=1.2))
    samples = render(recipe)[0].samples.astype(float)
    ceiling = float(np.quantile(np.abs(samples), 0.997))
    done = _done(np.clip(samples, -ceiling, ceiling), 48_000.0)
    assert "some-clipping" in done
    assert done <= {"some-clipping", "non-linear"}
    assert _done(samples, 48_000.0) == set()
