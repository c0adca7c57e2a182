"""What is no chanter gives its own reason and no notes; a good take is not refused."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.sound.analysis import refusals
from canebench.sound.analysis.measure import measure
from canebench.sound.files.recording import Recording
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from support.noises import hum, speech
from support.takes import codes, names
from support.tones import tone

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray, SampleArray
    from canebench.sound.analysis.readings import Measurement

_RATE_HZ = 16_000


def _measured(samples: FloatArray | SampleArray) -> Measurement:
    return measure(Recording(samples=samples.astype(np.float32), rate_hz=float(_RATE_HZ), origin="test"))


def _assert_refused(measured: Measurement, code: str) -> None:
    """Refused for that reason alone, in words that end with what to do, and without a single note."""
    reasons = [finding for finding in measured.findings if finding.refuses]
    assert [finding.code for finding in reasons] == [code]
    assert measured.refused
    assert measured.notes == ()
    assert measured.low_a_hz is None
    assert reasons[0].text.endswith(".")
    assert len(reasons[0].text) > 40


def _take(seed: int, *, drones: DronePlan | None = None, lead_s: float = 0.3) -> SampleArray:
    notes = scale_notes("low A", "C", "E", "high A", duration_s=1.0)
    recipe = Recipe(
        low_a_hz=473.0,
        notes=notes,
        seed=seed,
        rate_hz=float(_RATE_HZ),
        snr_db=25.0,
        rt60_s=0.4,
        drones=drones,
        lead_s=lead_s,
    )
    return render(recipe)[0].samples


@pytest.mark.parametrize("level", [0.0, 5e-4])
def test_silence(level: float) -> None:
    """Nothing at all, and noise under -60 dB."""
    noise = np.random.default_rng(5_701).uniform(-1, 1, 4 * _RATE_HZ)
    _assert_refused(_measured(level * noise), "silence")


@pytest.mark.parametrize("level", [0.01, 0.2])
def test_white_noise(level: float) -> None:
    noise = np.random.default_rng(5_702).standard_normal(6 * _RATE_HZ)
    _assert_refused(_measured(level * noise), "noise")


@pytest.mark.parametrize("hz", [440.0, 476.3, 880.0])
def test_a_pure_tone(hz: float) -> None:
    """A tuning fork or a tone generator, with and without a little noise."""
    clean = tone(hz, _RATE_HZ, duration_s=5.0)
    _assert_refused(_measured(clean), "pure-tone")
    hiss = 1e-3 * np.random.default_rng(5_703).standard_normal(len(clean))
    _assert_refused(_measured(clean + hiss), "pure-tone")


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
@pytest.mark.parametrize("seed", [5_704, 5_705])
def test_mains_hum(mains_hz: float, seed: int) -> None:
    measured = _measured(hum(mains_hz, _RATE_HZ, 6.0, seed=seed))
    _assert_refused(measured, "mains-hum")
    assert f"{mains_hz:g} Hz" in next(finding.text for finding in measured.findings if finding.refuses)
    assert measured.drones == ()


@pytest.mark.parametrize("seed", [5_706, 5_707])
def test_drones_alone_are_reported_as_drones(seed: int) -> None:
    """No notes, but the three drones are there with their pitches: that much was heard."""
    plan = DronePlan(level_db=0.0, bass_cents=2.0, tenor_cents=(3.0, -3.0))
    samples = _take(seed, drones=plan, lead_s=8.0)[: round(7.9 * _RATE_HZ)]
    measured = _measured(samples)
    _assert_refused(measured, "drones-only")
    assert [drone.drone for drone in measured.drones] == ["bass", "tenor", "tenor"]


@pytest.mark.parametrize("seed", range(5_708, 5_714))
def test_speech_like_glides(seed: int) -> None:
    """Pulses of 90 to 250 Hz that glide through moving resonances, in syllables."""
    _assert_refused(_measured(speech(_RATE_HZ, 8.0, seed=seed)), "no-steady-note")


@pytest.mark.parametrize("duration_s", [0.0, 0.001, 0.5, 0.99])
def test_too_short(duration_s: float) -> None:
    samples = _take(5_714)[_RATE_HZ // 2 :][: round(duration_s * _RATE_HZ)]
    _assert_refused(_measured(samples), "too-short")


@pytest.mark.parametrize("drive", [6.0, 20.0])
def test_a_clipped_take(drive: float) -> None:
    _assert_refused(_measured(np.clip(drive * _take(5_715), -1.0, 1.0)), "clipped")


def test_a_take_that_is_clipped_here_and_there_is_measured_with_a_remark() -> None:
    measured = _measured(np.clip(2.5 * _take(5_715), -1.0, 1.0))
    assert "some-clipping" in codes(measured)
    assert names(measured) == ["low A", "C", "E", "high A"]


def test_control_a_good_take_is_not_refused() -> None:
    """The same four notes whole, softly driven, with drones, and quiet: measured each time."""
    for samples in (_take(5_715), 1.4 * _take(5_715), 0.02 * _take(5_715), _take(5_716, drones=DronePlan())):
        measured = _measured(samples)
        assert not measured.refused, codes(measured)
        assert names(measured) == ["low A", "C", "E", "high A"]


def _voice(hz: float, rng: np.random.Generator) -> FloatArray:
    """A second of a reed's tone: partials of uneven strength that come and go together."""
    time_s = np.arange(_RATE_HZ) / _RATE_HZ
    numbers = np.arange(1, int(7000 / hz))
    strengths = 1 / numbers * 10 ** (rng.uniform(-8, 8, len(numbers)) / 20)
    tones = strengths @ np.cos(2 * np.pi * np.outer(hz * numbers, time_s) + numbers[:, None] ** 2)
    return np.asarray(np.minimum(1.0, 20 * np.minimum(time_s, time_s[::-1])) * tones)


@pytest.mark.parametrize("seed", range(4))
def test_chords_are_music_and_one_voice_of_them_is_a_chanter(seed: int) -> None:
    """Three voices at a time on tempered pitches; control: the uppermost of each chord by itself is named."""
    rng = np.random.default_rng(seed)
    chords = [440.0 * 2 ** (rng.choice(np.arange(-2, 11), 3, replace=False) / 12) for _ in range(12)]
    voices = [[_voice(float(hz), rng) for hz in sorted(chord)] for chord in chords]
    music = np.concatenate([np.sum(chord, axis=0) for chord in voices])
    alone = np.concatenate([chord[-1] for chord in voices])
    measured = _measured(0.1 * music)
    assert measured.refused, names(measured)
    assert len(names(_measured(0.1 * alone))) >= 3


@pytest.mark.parametrize("seed", range(3))
def test_voices_that_now_and_then_sound_alone_are_music_too(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Chords too brief to be held, then a lone voice; control: were the chords not counted, it is named."""
    rng = np.random.default_rng(seed)

    def chord() -> FloatArray:
        pitches = 440.0 * 2 ** (rng.choice(np.arange(-2, 11), 3, replace=False) / 12)
        return np.asarray(
            np.sum([_voice(float(hz), rng) for hz in pitches], axis=0)[: round(0.22 * _RATE_HZ)]
        )

    parts = []
    for hz in (440.0, 550.0, 660.0):
        parts += [*(chord() for _ in range(7)), _voice(hz, rng)[: round(0.6 * _RATE_HZ)]]
    music = 0.1 * np.concatenate(parts)
    _assert_refused(_measured(music), "several-voices")
    for most in ("_MOST_TOGETHER", "_MOST_TOGETHER_BRIEF"):
        monkeypatch.setattr(refusals, most, np.inf)
    assert names(_measured(music))


def test_a_note_that_sounds_too_briefly_is_no_take() -> None:
    """A lone note of 0.4 s over drones names nothing; controls: of 0.9 s it is read, or among others."""

    def heard(*notes: tuple[str, float]) -> list[str]:
        planned = tuple(scale_notes(note, duration_s=s)[0] for note, s in notes)
        recipe = Recipe(low_a_hz=470.0, notes=planned, seed=5, rate_hz=float(_RATE_HZ), drones=DronePlan())
        return names(measure(render(replace(recipe, lead_s=2.0))[0]))

    assert heard(("B", 0.4)) == []
    assert heard(("B", 0.9)) == ["B"]
    assert "B" in heard(("low A", 1.0), ("B", 0.5), ("E", 1.0))


def test_control_hum_or_speech_under_a_good_take_does_not_refuse_it() -> None:
    """30 dB below the chanter neither takes its place."""
    samples = _take(5_717)
    for other in (
        hum(50.0, _RATE_HZ, 10.0, seed=5_718),
        hum(60.0, _RATE_HZ, 10.0, seed=5_718),
        speech(_RATE_HZ, 10.0, seed=5_718),
    ):
        part = other[: len(samples)] * 10 ** (-30 / 20) * float(np.std(samples) / np.std(other))
        measured = _measured(samples + part)
        assert names(measured) == ["low A", "C", "E", "high A"]
        assert measured.drones == ()
