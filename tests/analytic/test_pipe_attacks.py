"""How rendered notes begin and pipes start and stop, heard in short windows."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.lib.stride_tricks import sliding_window_view

from canebench.base.errors import InputError
from canebench.sound.synth import (
    DronePlan,
    Recipe,
    behaviour_for,
    from_strike_to_cut,
    render,
    scale_notes,
    still,
)
from canebench.sound.synth.playing import fingers
from canebench.sound.synth.playing.fingers import approached, rise_times_s
from canebench.sound.synth.truth import Event
from support.heterodyne import STEP_S, course_cents, level_db

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray, SampleArray

_RATE_HZ = 24_000.0
_LOW_A_HZ = 476.0
_NOTES = ("low A", "D", "B", "F", "C", "high A", "E")
_STILL = Recipe(
    low_a_hz=_LOW_A_HZ,
    notes=scale_notes(*_NOTES, duration_s=0.6),
    seed=7_301,
    rate_hz=_RATE_HZ,
    behaviour=still(),
)


def _partial(samples: SampleArray, hz: float, window_s: float) -> FloatArray:
    """Amplitude of the partial at `hz` at every millisecond, over a Hann window about it."""
    size, step = round(window_s * _RATE_HZ), round(0.001 * _RATE_HZ)
    beat = samples * np.exp(-2j * np.pi * hz * np.arange(len(samples)) / _RATE_HZ)
    window = np.hanning(size) / np.hanning(size).sum()
    return np.abs(np.convolve(beat, window, mode="same"))[::step]


def _rises_s(recipe: Recipe, partial: int) -> list[float]:
    """From each note's beginning until a partial of it keeps to more than half its settled amplitude."""
    recording, truth = render(recipe)
    rises = []
    for event in truth.events:
        if event.note is None:
            continue
        hz = partial * _LOW_A_HZ * recipe.scale.ratios[event.note]
        first = round((event.start_s - 0.1) * _RATE_HZ)
        course = _partial(recording.samples[first : round(event.end_s * _RATE_HZ)], hz, 0.015)
        settled = np.median(course[400:600])
        below = np.flatnonzero(course[80:300] < 0.5 * settled)
        rises.append((float(below[-1]) - 20 if below.size else 0.0) / 1_000)
    return rises


def test_fingers_move_in_milliseconds_and_a_silent_reed_takes_longer() -> None:
    """Median over notes of the time to half the level of the strong low partials."""
    fingered = np.median(_rises_s(_STILL, 4)[1:])
    from_silence = np.median(_rises_s(replace(_STILL, pause_s=0.3), 4))
    assert 0.0 <= fingered < 0.02
    assert 0.008 < from_silence < 0.06


def test_high_partials_come_last() -> None:
    """Out of silence, where a partial can be seen coming: the ninth after the first, in most notes."""
    spaced = replace(_STILL, pause_s=0.3)
    low, high = np.array(_rises_s(spaced, 1)), np.array(_rises_s(spaced, 9))
    assert np.median(high - low) > 0.005
    assert np.mean(high > low) > 0.7


def test_partials_go_to_their_targets_at_their_own_rates() -> None:
    """A course is the exponential written out, event after event; silence stops all alike."""
    events = [
        Event(note=None, start_s=0.0, end_s=0.1),
        Event(note="B", start_s=0.1, end_s=0.2),
        Event(note="C", start_s=0.2, end_s=0.4),
    ]
    targets = np.array([[0.0, 0.0], [1.0, 0.5j], [0.25, 2.0]], dtype=complex)
    times_s = np.array([[0.01, 0.01], [0.02, 0.05], [0.03, 0.01]])
    time_s = np.arange(400) / 1_000
    courses = approached(targets, times_s, events, time_s)
    assert np.all(courses[:, :100] == 0)
    assert courses[1, 150] == pytest.approx(0.5j * (1 - np.exp(-0.05 / 0.05)))
    held = 1 - np.exp(-0.1 / 0.02)
    assert courses[0, 230] == pytest.approx(0.25 + (held - 0.25) * np.exp(-0.03 / 0.03))
    drawn = rise_times_s(targets, np.random.default_rng(7_302))
    assert drawn[0] == pytest.approx([0.004, 0.004])
    assert np.all(drawn[1] > 0.004)


def _highest_db(recipe: Recipe) -> float:
    """Most power above 12.5 kHz in any 20 ms, against the mean power of 20 ms; at 48 kHz."""
    samples = render(recipe)[0].samples.astype(float)
    frames = sliding_window_view(samples, 960)[::480] * np.blackman(960)
    power = np.abs(np.fft.rfft(frames, axis=1)) ** 2
    above = np.fft.rfftfreq(960, 1 / 48_000) > 12_500.0
    return float(10 * np.log10(np.max(power[:, above].sum(axis=1)) / np.mean(power.sum(axis=1))))


def test_a_finger_folds_no_partial_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """High partials of a low note go before the pitch has risen to a high one; nothing clicks."""
    leap = replace(
        _STILL, notes=scale_notes("low G", "high A", "low A", "F", "B", duration_s=0.4), rate_hz=48_000.0
    )
    assert _highest_db(leap) < -45.0
    # Control: where they die away as slowly as others, they are heard at wrong places.
    monkeypatch.setattr(fingers, "_GONE_S", 0.02)
    assert _highest_db(leap) > -35.0


def test_a_note_flicks_and_then_is_where_it_was_fingered() -> None:
    """Off by some cents in its first 10 ms, within some hundredths after 0.25 s, and never the same way."""
    _, truth = render(_STILL)
    firsts = []
    for event in truth.events[2:]:
        assert event.note is not None
        asked_hz = _LOW_A_HZ * _STILL.scale.ratios[event.note]
        early = 1200 * np.log2(truth.chanter_hz(event.start_s + 0.01, event.start_s + 0.02) / asked_hz)
        late = 1200 * np.log2(truth.chanter_hz(event.start_s + 0.25, event.end_s - 0.02) / asked_hz)
        firsts.append(early)
        assert abs(late) < 0.03
    assert np.std(firsts) > 1.0
    assert min(firsts) < 0.0 < max(firsts)


def test_a_finger_is_heard_in_the_breath() -> None:
    """The noise of a note's first 8 ms is more than twice as strong as later in it."""
    behaviour = still()
    noisy = replace(behaviour, chanter=replace(behaviour.chanter, noise_db=-20.0))
    recording, truth = render(replace(_STILL, behaviour=noisy))
    clean, _ = render(_STILL)
    wanted, mixed = clean.samples.astype(float), recording.samples.astype(float)
    noise = mixed - float(wanted @ mixed / (wanted @ wanted)) * wanted
    early, late = [], []
    for event in truth.events[2:]:
        first = round(event.start_s * _RATE_HZ)
        early.append(np.mean(noise[first : first + round(0.008 * _RATE_HZ)] ** 2))
        late.append(np.mean(noise[first + round(0.1 * _RATE_HZ) : first + round(0.5 * _RATE_HZ)] ** 2))
    assert np.sqrt(np.mean(early) / np.mean(late)) > 2.0


def _tenor(*, strikes_in: bool, seed: int = 7_303) -> tuple[SampleArray, FloatArray]:
    """One tenor beside a bass, from its start: samples, and its true cents about its pitch every 20 ms."""
    behaviour = replace(still(), strikes_in=strikes_in)
    plan = DronePlan(level_db=90.0, tenor_cents=(0.0,))
    recipe = replace(
        _STILL, notes=scale_notes("B", duration_s=3.0), seed=seed, drones=plan, behaviour=behaviour
    )
    recording, truth = render(recipe)
    hz = np.diff(truth.drone_cycles["tenor 1"][:: round(STEP_S * _RATE_HZ)]) / STEP_S
    return recording.samples, 1200 * np.log2(hz / (_LOW_A_HZ / 2))


def _loudest_hz(samples: SampleArray, low_hz: float, high_hz: float) -> float:
    """The strongest partial between two bounds, by an FFT of these samples."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), 16 * len(samples)))
    freq = np.fft.rfftfreq(16 * len(samples), 1 / _RATE_HZ)
    inside = (freq > low_hz) & (freq < high_hz)
    return float(freq[inside][np.argmax(spectrum[inside])])


@pytest.mark.parametrize("seed", [7_303, 7_304, 7_305])
def test_drones_are_struck_in_with_a_double_tone_and_come_from_below(seed: int) -> None:
    samples, cents = _tenor(strikes_in=True, seed=seed)
    double = np.flatnonzero(cents > 200.0)
    assert 250.0 <= cents[double[0]] <= 550.0
    ends_s = (double[-1] + 1) * STEP_S
    assert ends_s < 0.85
    after = cents[double[-1] + 3 :]
    assert -50.0 < after.min() < -8.0
    assert np.all(np.abs(cents[75:]) < 1.0)
    # That is what sounds: the third partial just before the change, and at the end.
    heard = _loudest_hz(samples[round((ends_s - 0.15) * _RATE_HZ) : round(ends_s * _RATE_HZ)], 775.0, 1_000.0)
    assert 1200 * np.log2(heard / (1.5 * _LOW_A_HZ)) == pytest.approx(cents[double[0]], abs=25.0)
    settled = course_cents(samples[round(1.8 * _RATE_HZ) :], 1.5 * _LOW_A_HZ, _RATE_HZ)
    assert np.abs(np.mean(settled)) < 0.3


def test_control_drones_that_sound_already_do_neither() -> None:
    samples, cents = _tenor(strikes_in=False)
    assert np.all(np.abs(cents) < 0.01)
    assert np.mean(samples[: round(0.05 * _RATE_HZ)] ** 2) > 0.1 * np.mean(samples**2)


def test_a_bag_that_is_cut_off_sags_and_falls_silent() -> None:
    recipe = replace(_STILL, drones=DronePlan(), behaviour=behaviour_for(7_306))
    whole = from_strike_to_cut(recipe)
    (cut, sagging), (plain, _) = (render(one) for one in (whole, recipe))
    assert cut.duration_s == pytest.approx(plain.duration_s - recipe.lead_s + 2.0 + 0.5, abs=1e-3)
    assert sagging.events[-1].note is None
    ends_s = sagging.events[-1].end_s
    for hz in (sagging.chanter_hz, lambda a, b: sagging.drone_hz("bass", a, b)):
        before, after = hz(ends_s - 0.6, ends_s - 0.5), hz(ends_s - 0.03, ends_s - 0.001)
        assert -160.0 < 1200 * np.log2(after / before) < -25.0
    fall = level_db(cut.samples, _RATE_HZ)
    assert fall[-1] < fall[-13] - 30.0
    # Control: a take that is not cut off ends as it was.
    as_it_was = level_db(plain.samples, _RATE_HZ)
    assert as_it_was[-1] > as_it_was[-13] - 10.0


def test_a_textbook_take_has_no_bag_to_strike() -> None:
    with pytest.raises(InputError, match="it needs a behaviour of pipes"):
        from_strike_to_cut(replace(_STILL, behaviour=None))


def test_drones_may_begin_later() -> None:
    """As in the textbook's takes: silent before `start_s`, and then at once at their level."""
    plan = DronePlan(level_db=0.0, start_s=1.0)
    recipe = replace(_STILL, lead_s=2.0, drones=plan, behaviour=behaviour_for(7_307))
    samples = render(recipe)[0].samples
    before, after = (
        np.sqrt(np.mean(samples[round(a * _RATE_HZ) : round(b * _RATE_HZ)] ** 2))
        for a, b in ((0.0, 0.98), (1.1, 2.0))
    )
    assert before == 0.0
    assert after > 0.03
