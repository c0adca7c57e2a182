"""The bass drone is found when it sounds and only then: neither a chanter nor hum passes for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from canebench.sound.analysis.drones.drone_detection import bass_near, tenor_near
from canebench.sound.dsp import decimation
from canebench.sound.dsp.decimation import Section, sections
from canebench.sound.files.recording import Recording
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from support.pitch import assert_within_cents

_RATE_HZ = 12_000.0
#: The docstring's 0.2 % in cents.
_ROUGH_CENTS = 3.5


def _recipe(seed: int, drones: DronePlan | None = None) -> Recipe:
    low_a_hz = float(np.random.default_rng(seed).uniform(430, 500))
    return Recipe(
        low_a_hz=low_a_hz,
        notes=scale_notes(duration_s=0.8),
        seed=seed,
        rate_hz=_RATE_HZ,
        snr_db=20.0,
        rt60_s=0.6,
        drones=drones,
    )


def _section(recipe: Recipe) -> Section:
    (section,) = sections(render(recipe)[0])
    return section


def _hum(mains_hz: float, *, step: int = 1, level: float = 0.05, duration_s: float = 8.0) -> Section:
    """Mains hum with every `step`-th multiple, over a little noise."""
    rng = np.random.default_rng(5_201)
    time_s = np.arange(round(duration_s * _RATE_HZ)) / _RATE_HZ
    signal = 1e-3 * rng.standard_normal(len(time_s))
    for k in range(step, round(5_000 / mains_hz), step):
        signal += level * rng.uniform(0.1, 1) * np.cos(2 * np.pi * k * mains_hz * time_s + rng.uniform(0, 6))
    return Section(signal=signal, rate_hz=_RATE_HZ, start_s=0.0)


@pytest.mark.parametrize("seed", range(5_201, 5_205))
@pytest.mark.parametrize("level_db", [-10.0, 6.0])
def test_the_bass_is_found_to_a_fifth_of_a_percent(seed: int, level_db: float) -> None:
    """From 10 dB below to 6 dB above the chanter, in room and noise."""
    plan = DronePlan(level_db=level_db, bass_cents=6.0, tenor_cents=(3.0, -4.0))
    recipe = _recipe(seed, plan)
    found = bass_near(_section(recipe))
    assert found is not None
    assert_within_cents(found, recipe.low_a_hz / 4 * 2 ** (6.0 / 1200), cents=_ROUGH_CENTS)


@pytest.mark.parametrize("seed", range(5_205, 5_211))
def test_a_chanter_alone_has_neither_bass_nor_tenor(seed: int) -> None:
    section = _section(_recipe(seed))
    assert bass_near(section) is None
    assert tenor_near(section) is None


def test_a_bass_that_begins_midway_is_found() -> None:
    recipe = _recipe(5_211, DronePlan(start_s=4.0))
    found = bass_near(_section(recipe))
    assert found is not None
    assert_within_cents(found, recipe.low_a_hz / 4, cents=_ROUGH_CENTS)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_mains_hum_is_no_drone(mains_hz: float) -> None:
    """100 Hz lies below any bass; 120 Hz looks like one, and the odd multiples give it away."""
    assert bass_near(_hum(mains_hz)) is None
    assert tenor_near(_hum(mains_hz)) is None
    # Control: the even multiples of 60 Hz alone do pass for a bass, so it is the odd ones that decide.
    assert (bass_near(_hum(mains_hz, step=2)) is not None) == (mains_hz == 60.0)


def test_noise_is_no_drone() -> None:
    noise = np.random.default_rng(5_212).standard_normal(round(8 * _RATE_HZ))
    section = Section(signal=noise, rate_hz=_RATE_HZ, start_s=0.0)
    assert bass_near(section) is None
    assert tenor_near(section) is None


def test_a_bass_on_a_multiple_of_the_mains_is_found_over_hum() -> None:
    """Low A at 480 Hz puts the bass on 120 Hz: hum 30 dB below it does not hide it."""
    recipe = replace(_recipe(5_213, DronePlan(level_db=0.0)), low_a_hz=480.0)
    section = _section(recipe)
    hum = _hum(60.0, duration_s=section.duration_s).signal[: len(section.signal)]
    quiet = 10 ** (-30 / 20) * float(np.std(section.signal)) / float(np.std(hum))
    found = bass_near(replace(section, signal=section.signal + quiet * hum))
    assert found is not None
    assert_within_cents(found, 120.0, cents=_ROUGH_CENTS)


def test_one_short_note_in_hiss_has_no_tenors() -> None:
    """A tenor's even partials are those of a note an octave up; hiss does not make up for the odd ones."""
    rng = np.random.default_rng(5_214)
    time_s = np.arange(round(2 * _RATE_HZ)) / _RATE_HZ
    for _ in range(100):
        hz, hiss = rng.uniform(430, 520), rng.uniform(0.1, 1.0)
        signal = hiss * rng.standard_normal(len(time_s))
        for k in range(1, 6):
            signal += np.cos(2 * np.pi * k * hz * time_s + rng.uniform(0, 2 * np.pi))
        section = Section(signal=signal, rate_hz=_RATE_HZ, start_s=0.0)
        assert bass_near(section) is None
        assert tenor_near(section) is None


@pytest.mark.parametrize("seed", range(2))
def test_quiet_drones_beside_a_recorders_offset_are_found(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The offset 30 dB above the pipes; control: were it left in, the bass is not found."""
    samples = render(_recipe(5_790 + seed, DronePlan()))[0].samples
    recording = Recording(samples=1e-3 * samples + np.float32(0.02), rate_hz=_RATE_HZ, origin="test")

    def bass() -> float | None:
        (section,) = sections(recording)
        return bass_near(section)

    assert bass() is not None
    monkeypatch.setattr(decimation, "offset_of", lambda _: 0.0)
    assert bass() is None
