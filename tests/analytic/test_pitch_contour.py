"""The chanter's course: steps and glides followed to a few cents, an octave never taken for the note."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.sound.analysis.drones.drone_lines import NO_LINES, drone_lines, without_drones
from canebench.sound.analysis.drones.drone_runs import drone_runs
from canebench.sound.analysis.notes import pitch_contour
from canebench.sound.analysis.notes.pitch_contour import COMPASS_HZ, PitchContour, contour_of, stretches
from canebench.sound.dsp.decimation import Section, sections
from canebench.sound.dsp.stft import Frames, frames_of
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from support.pitch import assert_within_cents

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import BoolArray, FloatArray
    from canebench.sound.synth import Truth

#: The docstring's "few cents".
_ROUGH_CENTS = 5.0
#: What the phase follower needs to start from (`analysis.notes.note_tracking`); asked of a pitch that moves.
_NEEDED_CENTS = 20.0
_LEAST_S = 0.3
#: After a note begins the room still holds the one before; before it ends a window reaches over its end.
_AFTER_S, _BEFORE_S = 0.15, 0.06
_SEEDS = (5_821, 5_822, 5_823)
_DRONES = DronePlan(bass_cents=3.0, tenor_cents=(2.0, -3.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """A course with the pitch that truly sounds at each frame, and the frames that lie within a note."""

    course: PitchContour
    true_hz: FloatArray
    within: BoolArray
    frames: Frames


def _recipe(seed: int, rate_hz: float, drones: DronePlan | None = None) -> Recipe:
    return Recipe(
        low_a_hz=float(np.random.default_rng(seed).uniform(440, 490)),
        notes=scale_notes(duration_s=0.7),
        seed=seed,
        rate_hz=rate_hz,
        snr_db=20.0,
        rt60_s=0.5,
        drones=drones,
    )


def _followed(recipe: Recipe, *, drones_out: bool = True) -> Followed:
    recording, truth = render(recipe)
    (section,) = sections(recording)
    frames = frames_of(section)
    runs = drone_runs(section, frames) if drones_out else []
    rest = without_drones(frames, runs)
    found = contour_of(rest, drone_lines(rest, runs))
    return Followed(
        course=found,
        true_hz=_true_hz(truth, frames.times_s),
        within=_within_notes(truth, frames.times_s),
        frames=frames,
    )


def _true_hz(truth: Truth, times_s: FloatArray) -> FloatArray:
    return np.asarray(np.gradient(truth.chanter_cycles)[np.rint(times_s * truth.rate_hz).astype(int)]) * (
        truth.rate_hz
    )


def _within_notes(truth: Truth, times_s: FloatArray) -> BoolArray:
    inside = [
        (times_s > event.start_s + _AFTER_S) & (times_s < event.end_s - _BEFORE_S)
        for event in truth.events
        if event.note is not None
    ]
    return np.asarray(np.any(inside, axis=0))


def _assert_course_true(followed: Followed) -> None:
    """In every frame within a note the chanter is heard, and at its pitch."""
    assert np.sum(followed.within) > 100
    assert np.all(followed.course.sounding[followed.within])
    for found_hz, true_hz in zip(
        followed.course.freq_hz[followed.within], followed.true_hz[followed.within], strict=True
    ):
        assert_within_cents(float(found_hz), float(true_hz), cents=_ROUGH_CENTS)


def _assert_courses_true(followed: Sequence[Followed]) -> None:
    for each in followed:
        _assert_course_true(each)


def _assert_stretches_true(followed: Followed, recipe: Recipe) -> None:
    """One stretch for each note of the recipe, in its order, within it and at its pitch."""
    hop_s = followed.frames.hop_s
    found = stretches(followed.course, hop_s, least_s=_LEAST_S)
    assert len(found) == len(recipe.notes)
    start_s = recipe.lead_s
    for stretch, plan in zip(found, recipe.notes, strict=True):
        times_s = followed.frames.times_s[[stretch.first, stretch.last]]
        assert start_s - 0.05 < times_s[0] < start_s + 0.2
        assert start_s + plan.duration_s - 0.15 < times_s[1] < start_s + plan.duration_s + 0.1
        assert_within_cents(
            stretch.freq_hz, recipe.low_a_hz * recipe.scale.ratios[plan.note], cents=_ROUGH_CENTS
        )
        start_s += plan.duration_s


@pytest.mark.parametrize("rate_hz", [12_000.0, 16_000.0, 48_000.0])
@pytest.mark.parametrize("seed", _SEEDS)
def test_nine_notes_are_nine_stretches_at_their_own_octave(seed: int, rate_hz: float) -> None:
    """At 16 kHz more partials of an octave are heard than at 12: that must not make it the note."""
    recipe = _recipe(seed, rate_hz)
    followed = _followed(recipe)
    _assert_course_true(followed)
    _assert_stretches_true(followed, recipe)


@pytest.mark.parametrize("rate_hz", [12_000.0, 16_000.0])
def test_control_without_the_price_of_a_crowd_octaves_are_taken_for_notes(
    monkeypatch: pytest.MonkeyPatch, rate_hz: float
) -> None:
    """As a plain mean over its partials an octave fits as well as its root, and wins somewhere."""
    followed = [_followed(_recipe(seed, rate_hz)) for seed in _SEEDS]
    _assert_courses_true(followed)
    monkeypatch.setattr(pitch_contour, "_CROWD", 1.0)
    wrong = [replace(each, course=contour_of(each.frames, NO_LINES)) for each in followed]
    with pytest.raises(AssertionError, match=r"measured .* sounds: \+1[12]\d\d\."):
        _assert_courses_true(wrong)


@pytest.mark.parametrize("seed", _SEEDS)
def test_over_drones_the_notes_are_found_once_these_are_out(seed: int) -> None:
    """Drones as loud as the chanter, taken out first; what they leave behind is no note."""
    recipe = _recipe(seed, 12_000.0, _DRONES)
    followed = _followed(recipe)
    _assert_course_true(followed)
    _assert_stretches_true(followed, recipe)


@pytest.mark.parametrize("seed", _SEEDS)
def test_control_with_the_drones_left_in_the_course_is_wrong(seed: int) -> None:
    with pytest.raises(AssertionError, match=r"measured .* sounds"):
        _assert_course_true(_followed(_recipe(seed, 12_000.0, _DRONES), drones_out=False))


def _tone(freq_hz: FloatArray, rate_hz: float) -> Frames:
    """Twelve partials, falling by 3 dB an octave, on a given course, over a little noise."""
    cycles = np.cumsum(freq_hz) / rate_hz
    signal = 1e-3 * np.random.default_rng(5_824).standard_normal(len(freq_hz))
    for k in range(1, 13):
        within = k * freq_hz < 0.45 * rate_hz
        signal += within * 0.1 / np.sqrt(k) * np.cos(2 * np.pi * k * cycles + k * k)
    return frames_of(Section(signal=signal, rate_hz=rate_hz, start_s=0.0))


@pytest.mark.parametrize("rate_hz", [12_000.0, 16_000.0])
@pytest.mark.parametrize("cents_per_s", [-120.0, 120.0])
def test_a_glide_through_the_whole_compass_is_followed(rate_hz: float, cents_per_s: float) -> None:
    """Up and down at a tone in 1.7 s, between near the bottom and near the top, at one octave all along."""
    low_hz, high_hz = 1.03 * COMPASS_HZ[0], 0.97 * COMPASS_HZ[1]
    length_s = 1200 * np.log2(high_hz / low_hz) / abs(cents_per_s)
    time_s = np.arange(round(length_s * rate_hz)) / rate_hz
    from_hz = low_hz if cents_per_s > 0 else high_hz
    freq_hz = from_hz * np.exp2(cents_per_s * time_s / 1200)
    frames = _tone(freq_hz, rate_hz)
    found = contour_of(frames, NO_LINES)
    assert np.all(found.sounding)
    for found_hz, true_hz in zip(found.freq_hz, np.interp(frames.times_s, time_s, freq_hz), strict=True):
        assert_within_cents(float(found_hz), float(true_hz), cents=_NEEDED_CENTS)


def test_two_steps_make_three_stretches() -> None:
    """Held for 0.5 s each, 90 cents up and then 40 down: the ends lie where the steps are."""
    steps_hz = (500.0, 500.0 * 2 ** (90 / 1200), 500.0 * 2 ** (50 / 1200))
    frames = _tone(np.repeat(steps_hz, 6_000), 12_000.0)
    found = stretches(contour_of(frames, NO_LINES), frames.hop_s, least_s=_LEAST_S)
    assert len(found) == 3
    for index, (stretch, hz) in enumerate(zip(found, steps_hz, strict=True)):
        assert_within_cents(stretch.freq_hz, hz, cents=_ROUGH_CENTS)
        assert abs(frames.times_s[stretch.first] - 0.5 * index) < 0.06
        assert abs(frames.times_s[stretch.last] - 0.5 * (index + 1)) < 0.06


def _course(*parts: tuple[float, int]) -> PitchContour:
    """A course of (pitch, frames); pitch 0 is silence."""
    freq = np.concatenate([np.full(count, hz) for hz, count in parts])
    heard = freq > 0
    return PitchContour(freq_hz=np.where(heard, freq, 440.0), support=heard.astype(float), sounding=heard)


@pytest.mark.parametrize(
    ("parts", "spans"),
    [
        (((500.0, 30),), [(0, 29)]),
        (((500.0, 15), (880.0, 1), (500.0, 15)), [(0, 30)]),
        (((500.0, 15), (0.0, 1), (500.0, 15)), [(0, 30)]),
        (((500.0, 20), (0.0, 4), (500.0, 20)), [(0, 19), (24, 43)]),
        (((500.0, 20), (560.0, 20)), [(0, 19), (20, 39)]),
        (((500.0, 10), (560.0, 10)), []),
        (((0.0, 30),), []),
    ],
)
def test_what_ends_a_run(parts: tuple[tuple[float, int], ...], spans: list[tuple[int, int]]) -> None:
    """A lone stray or silent frame does not; a longer gap or another pitch does; short runs are dropped."""
    found = stretches(_course(*parts), 0.0213, least_s=_LEAST_S)
    assert [(stretch.first, stretch.last) for stretch in found] == spans
