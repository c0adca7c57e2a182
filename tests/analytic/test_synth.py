"""Rendered takes are what their recipes ask for, shown without the synth's own arithmetic."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.notes import NOTES
from canebench.sound.synth import DronePlan, PlannedNote, Recipe, Truth, render, scale_notes
from canebench.sound.synth.playing import textbook
from canebench.sound.synth.room import room
from support.pitch import assert_within_cents
from support.tones import amplitude_and_hz

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray, SampleArray

_RATE_HZ = 16_000.0
_PLAIN = Recipe(low_a_hz=476.0, notes=scale_notes("low A", "E", "B"), seed=5_101, rate_hz=_RATE_HZ)


def _cut(samples: FloatArray | SampleArray, span_s: tuple[float, float]) -> FloatArray:
    return samples[round(span_s[0] * _RATE_HZ) : round(span_s[1] * _RATE_HZ)].astype(float)


def _span(truth: Truth, note: str) -> tuple[float, float]:
    """The note's own stretch, less what the fingers take."""
    event = next(event for event in truth.events if event.note == note)
    return event.start_s + 0.02, event.end_s - 0.02


@pytest.mark.parametrize("note", ["low A", "E", "B"])
def test_the_truth_is_the_phase_slope_of_what_sounds(note: str) -> None:
    """Frequency by the phase slope of the first partial = the truth's mean = the recipe's arithmetic."""
    recipe = replace(_PLAIN, notes=scale_notes("low A", "E", "B", offsets_cents={"E": -17.0}))
    recording, truth = render(recipe)
    span = _span(truth, note)
    asked_hz = 476.0 * recipe.scale.ratios[note] * 2 ** ((-17.0 if note == "E" else 0.0) / 1200)
    _, slope_hz = amplitude_and_hz(
        _cut(recording.samples, span).astype(np.float32), round(_RATE_HZ), asked_hz + 0.3
    )
    assert_within_cents(truth.chanter_hz(*span), asked_hz, cents=1e-6)
    assert_within_cents(slope_hz, truth.chanter_hz(*span), cents=2e-3)


def test_where_the_work_is_cut_is_not_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Voices are summed piece by piece; however small the pieces, changes of note and drones are the same.

    Control: of fingers a sixth quicker it is told.
    """
    recipe = replace(_PLAIN, graces=True, pause_s=0.1, jitter=0.05, drones=DronePlan(start_s=0.5))
    whole = render(recipe)[0].samples
    monkeypatch.setattr(textbook, "_CHUNK", 37)
    np.testing.assert_allclose(render(recipe)[0].samples, whole, atol=1e-6)
    monkeypatch.setattr(textbook, "_finger_width", lambda rate_hz: round(0.005 * rate_hz))
    with pytest.raises(AssertionError, match="Not equal"):
        np.testing.assert_allclose(render(recipe)[0].samples, whole, atol=1e-6)


def _phase_wander(samples: FloatArray, cycles: FloatArray, partial: int, *, block_s: float = 0.05) -> float:
    """Range in radians of a partial's phase against that many times the true cycles, over blocks."""
    block = round(block_s * _RATE_HZ)
    count = len(samples) // block * block
    beat = (samples * np.exp(-2j * np.pi * partial * cycles))[:count].reshape(-1, block)
    phasors = (beat * np.hanning(block)).sum(axis=1)
    return float(np.ptp(np.unwrap(np.angle(phasors))))


@pytest.mark.parametrize("partial", [1, 3, 7])
def test_every_partial_runs_on_the_true_cycles_while_the_pitch_wanders(partial: int) -> None:
    """With 5 cents of wander a partial's phase stays within 0.02 rad of `partial` times the truth."""
    recording, truth = render(replace(_PLAIN, wander_cents=5.0))
    span = _span(truth, "low A")
    samples, cycles = _cut(recording.samples, span), _cut(truth.chanter_cycles, span)
    assert _phase_wander(samples, cycles, partial) < 0.02
    # Control: cycles of a steady note miss the wander.
    steady = truth.chanter_hz(*span) * np.arange(len(samples)) / _RATE_HZ
    assert _phase_wander(samples, steady, partial) > 0.1


def test_the_bass_drone_runs_on_its_true_cycles() -> None:
    """Its fifth partial (nobody else's) against five times the truth, with 0.5 cent of wander."""
    plan = DronePlan(level_db=6.0, bass_cents=9.0, tenor_cents=(2.0, -2.0), wander_cents=0.5)
    recording, truth = render(replace(_PLAIN, notes=scale_notes("D"), drones=plan))
    bass_hz = truth.drone_hz("bass", 0.5, 2.0)
    assert_within_cents(bass_hz, 476.0 / 4 * 2 ** (9.0 / 1200), cents=1.5)
    span = (0.4, 2.2)
    cycles = _cut(truth.drone_cycles["bass"], span)
    samples = _cut(recording.samples, span)
    assert _phase_wander(samples, cycles, 5, block_s=0.15) < 0.03
    # Control: a bass 0.9 cent sharper.
    assert _phase_wander(samples, 1.0005 * cycles, 5, block_s=0.15) > 1.0


@pytest.mark.parametrize("wander_cents", [2.0, 8.0])
def test_the_wander_has_the_rms_asked(wander_cents: float) -> None:
    """Over 60 s of one note the pitch's RMS about its mean is what the recipe says, to a quarter."""
    recipe = replace(
        _PLAIN, notes=scale_notes("low A", duration_s=60.0), wander_cents=wander_cents, rate_hz=8_000.0
    )
    _, truth = render(recipe)
    freq = np.diff(truth.chanter_cycles[8_000:-8_000:80]) / 80 * 8_000
    spread = float(np.std(1200 * np.log2(freq)))
    assert spread == pytest.approx(wander_cents, rel=0.25)


def _beside(full: Recipe, bare: Recipe) -> tuple[float, float]:
    """RMS of the bare take's chanter while it sounds, and of what the full take adds to it."""
    more, _ = render(full)
    less, truth = render(bare)
    sounding = [event for event in truth.events if event.note]
    inner = np.s_[round(sounding[0].start_s * _RATE_HZ) : round(sounding[-1].end_s * _RATE_HZ)]
    wanted, mixed = less.samples.astype(float)[inner], more.samples.astype(float)[inner]
    scale = float(wanted @ mixed / (wanted @ wanted))
    return scale * float(np.sqrt(np.mean(wanted**2))), float(np.sqrt(np.mean((mixed - scale * wanted) ** 2)))


@pytest.mark.parametrize("snr_db", [0.0, 20.0, 40.0])
def test_the_noise_is_as_far_below_the_chanter_as_asked(snr_db: float) -> None:
    signal, noise = _beside(replace(_PLAIN, snr_db=snr_db), _PLAIN)
    assert 20 * math.log10(signal / noise) == pytest.approx(snr_db, abs=0.15)


@pytest.mark.parametrize("level_db", [-10.0, 0.0, 6.0])
def test_the_drones_are_as_loud_as_asked(level_db: float) -> None:
    """All drones together against the chanter while it sounds, RMS; B and D share few partials with them."""
    bare = replace(_PLAIN, notes=scale_notes("B", "D", "F"))
    plan = DronePlan(level_db=level_db, bass_cents=5.0, tenor_cents=(3.0, -4.0))
    chanter, drones = _beside(replace(bare, drones=plan), bare)
    assert 20 * math.log10(drones / chanter) == pytest.approx(level_db, abs=0.15)


def test_drones_begin_when_asked() -> None:
    plan = DronePlan(level_db=0.0, start_s=1.0)
    recording, _ = render(replace(_PLAIN, notes=scale_notes("low A"), lead_s=2.0, drones=plan))
    before, after = (np.sqrt(np.mean(_cut(recording.samples, s) ** 2)) for s in ((0.0, 0.98), (1.02, 2.0)))
    assert before == 0.0
    assert after > 0.05


def test_the_noise_falls_by_3_db_an_octave_and_stops_below_50_hz() -> None:
    """1/f noise: power density in octaves from 100 Hz to 6.4 kHz falls by a half each."""
    noisy, _ = render(replace(_PLAIN, notes=scale_notes("low A"), lead_s=20.0, snr_db=0.0))
    power = np.abs(np.fft.rfft(_cut(noisy.samples, (0.5, 19.5)))) ** 2
    freq = np.fft.rfftfreq(round(19.0 * _RATE_HZ), 1 / _RATE_HZ)
    edges = 100.0 * 2.0 ** np.arange(7)
    density = [10 * np.log10(np.mean(power[(freq >= low) & (freq < 2 * low)])) for low in edges[:-1]]
    assert np.diff(density) == pytest.approx(-3.01, abs=0.5)
    assert np.mean(power[freq < 45]) < 0.02 * np.mean(power[(freq > 55) & (freq < 65)])


def _decay_s(energy: FloatArray, rate_hz: float) -> float:
    """RT60 by the backward integral (Schroeder 1965), from the slope between -5 and -35 dB."""
    left_db = 10 * np.log10(np.cumsum(energy[::-1])[::-1] / np.sum(energy) + 1e-30)
    used = np.flatnonzero((left_db < -5) & (left_db > -35))
    return float(-60 / np.polyfit(used / rate_hz, left_db[used], 1)[0])


@pytest.mark.parametrize("rt60_s", [0.3, 0.6, 1.5])
def test_the_room_decays_as_asked_and_leaves_the_direct_sound_its_share(rt60_s: float) -> None:
    """An impulse through the room: RT60 to 5 %, and direct over reverberant energy to 0.3 dB."""
    recipe = replace(_PLAIN, rt60_s=rt60_s, direct_db=3.0)
    impulse = np.zeros(round(3 * _RATE_HZ))
    impulse[0] = 1.0
    energy = room(recipe, np.random.default_rng(5_102))(impulse) ** 2
    assert _decay_s(energy[1:], _RATE_HZ) == pytest.approx(rt60_s, rel=0.05)
    assert 10 * math.log10(1.0 / np.sum(energy[1:])) == pytest.approx(3.0, abs=0.3)
    # Control: a room half as long again is told apart.
    assert _decay_s(energy[1:], 1.5 * _RATE_HZ) != pytest.approx(rt60_s, rel=0.05)


def test_a_note_that_stops_dies_away_at_the_rooms_pace() -> None:
    """In the pauses of a rendered take the energy falls with the RT60 asked, on average over six notes."""
    notes = tuple(PlannedNote(note=note, duration_s=0.5) for note in ("low A", "B", "C", "D", "E", "F"))
    recording, truth = render(replace(_PLAIN, notes=notes, rt60_s=0.6, pause_s=1.0))
    pauses = [(event.start_s + 0.02, event.end_s) for event in truth.events[1:] if event.note is None]
    assert len(pauses) == 6
    energy = sum(_cut(recording.samples, pause)[: round(0.97 * _RATE_HZ)] ** 2 for pause in pauses)
    assert _decay_s(np.asarray(energy), _RATE_HZ) == pytest.approx(0.6, rel=0.2)


def test_grace_notes_are_30_to_60_ms_and_sound_at_their_own_pitch() -> None:
    recipe = replace(_PLAIN, notes=scale_notes(duration_s=0.5), graces=True)
    _, truth = render(recipe)
    graces = [event for event in truth.events if event.grace]
    assert len(graces) == len(NOTES) - 1
    for event in graces:
        assert 0.03 <= event.end_s - event.start_s <= 0.06
        assert event.note is not None
        asked_hz = 476.0 * recipe.scale.ratios[event.note]
        assert_within_cents(truth.chanter_hz(event.start_s + 0.01, event.end_s - 0.01), asked_hz, cents=0.01)
    following = [b.note for a, b in zip(truth.events, truth.events[1:], strict=False) if a.grace]
    assert all(a.note != b for a, b in zip(graces, following, strict=True))


def test_events_follow_each_other_and_fill_the_take() -> None:
    recording, truth = render(replace(_PLAIN, pause_s=0.2, graces=True))
    assert truth.events[0].start_s == 0.0
    for before, after in zip(truth.events, truth.events[1:], strict=False):
        assert after.start_s == pytest.approx(before.end_s)
    assert truth.events[-1].end_s == pytest.approx(recording.duration_s, abs=1 / _RATE_HZ)


def test_the_same_recipe_renders_the_same_samples_and_another_seed_others() -> None:
    recipe = replace(_PLAIN, snr_db=20.0, rt60_s=0.4, graces=True, wander_cents=3.0, drones=DronePlan())
    first, again, other = (render(r)[0].samples for r in (recipe, recipe, replace(recipe, seed=5_103)))
    assert np.array_equal(first, again)
    assert not np.array_equal(first[:1_000], other[:1_000])


def test_nothing_is_clipped() -> None:
    recording, _ = render(replace(_PLAIN, snr_db=0.0))
    assert float(np.max(np.abs(recording.samples))) == pytest.approx(0.7)


@pytest.mark.parametrize(
    ("low_a_hz", "sentence"),
    [(349.9, "low A: 349.9 Hz was given; from 350 to 600 Hz"), (952.0, "low A: 952 Hz was given")],
)
def test_a_low_a_that_is_none_is_refused(low_a_hz: float, sentence: str) -> None:
    with pytest.raises(InputError, match=sentence):
        replace(_PLAIN, low_a_hz=low_a_hz)


def test_a_recipe_without_notes_is_refused() -> None:
    with pytest.raises(InputError, match="notes: none was given; at least one note is needed"):
        replace(_PLAIN, notes=())


def test_a_note_that_the_chanter_lacks_is_refused() -> None:
    with pytest.raises(
        UnknownNameError, match=r"'high B' was given; allowed are low G.*Nearest that works: hi"
    ):
        PlannedNote(note="high B")


@pytest.mark.parametrize("duration_s", [0.0, -1.0, 0.01, 3_601.0, math.nan])
def test_a_duration_out_of_range_is_refused(duration_s: float) -> None:
    with pytest.raises(InputError, match=r"duration of low A: .* was given; from 0.02 to 3600 s"):
        PlannedNote(note="low A", duration_s=duration_s)


def test_a_rate_out_of_range_is_refused() -> None:
    with pytest.raises(InputError, match="sample rate: 7000 Hz was given"):
        render(replace(_PLAIN, rate_hz=7_000.0))
