"""The front function: every note of a take named and right, with nothing told to it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from canebench.base.errors import InputError
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.sound.analysis.measure import measure
from canebench.sound.files.recording import Recording
from canebench.sound.synth import DronePlan, PlannedNote, Recipe, render, scale_notes
from support.conditions import CONDITIONS, TEXTBOOK, recipe_for
from support.pitch import assert_within_cents
from support.takes import (
    Take,
    assert_drones_true,
    assert_notes_true,
    codes,
    names,
    reading,
    take_of,
    true_hz,
)

_ROOM = Recipe(
    low_a_hz=472.4,
    notes=scale_notes(duration_s=1.0),
    seed=5_801,
    rate_hz=16_000.0,
    snr_db=20.0,
    rt60_s=0.6,
    wander_cents=3.0,
)
#: The figure asked for a chanter alone in a room with wander.
_ROOM_CENTS = 1.0


@pytest.mark.parametrize("name", TEXTBOOK)
def test_all_nine_notes_in_every_textbook_condition(name: str) -> None:
    """Chanter alone to drones 6 dB above it, in noise and room, out of tune and in tune."""
    condition = CONDITIONS[name]
    take = take_of(recipe_for(name, 5_000 + TEXTBOOK.index(name)))
    assert_notes_true(take, NOTES, cents=condition.worst_cents)
    assert not take.measured.refused
    if condition.drones_db is not None:
        assert_drones_true(take, cents=0.1)
    else:
        assert take.measured.drones == ()


@pytest.mark.parametrize("rate_hz", [8_000.0, 11_025.0, 44_100.0, 96_000.0])
def test_other_sample_rates(rate_hz: float) -> None:
    """As played over drones, at rates from a telephone's to a studio's."""
    take = take_of(recipe_for("as-played", 5_010, longer=0.8, rate_hz=rate_hz))
    assert_notes_true(take, NOTES, cents=CONDITIONS["as-played"].worst_cents)


def test_control_a_wrong_rate_fails_the_same_assertion() -> None:
    """44.1 kHz samples said to be 48 kHz lie 147 cents off: that cannot pass for the truth."""
    recording, truth = render(replace(_ROOM, rate_hz=44_100.0))
    wrong = Recording(samples=recording.samples, rate_hz=48_000.0, origin="test")
    with pytest.raises(AssertionError, match=r"sounds|were measured|sorted"):
        assert_notes_true(
            Take(recording=wrong, truth=truth, measured=measure(wrong)), NOTES, cents=_ROOM_CENTS
        )


@pytest.mark.parametrize("low_a_hz", [442.0, 467.0, 488.0])
def test_low_a_and_high_a_alone(low_a_hz: float) -> None:
    take = take_of(replace(_ROOM, low_a_hz=low_a_hz, notes=scale_notes(LOW_A, HIGH_A)))
    assert_notes_true(take, (LOW_A, HIGH_A), cents=_ROOM_CENTS)
    assert take.measured.low_a_hz == reading(take.measured, LOW_A).hz


@pytest.mark.parametrize("low_a_hz", [442.0, 467.0, 488.0])
def test_low_a_and_high_a_over_drones(low_a_hz: float) -> None:
    """Both As some cents off drones as loud as they are: the beat tells the chanter from them."""
    plan = DronePlan(bass_cents=1.0, tenor_cents=(1.5, -2.0), wander_cents=0.3)
    offsets = {LOW_A: 8.0, HIGH_A: -9.0}
    notes = scale_notes(LOW_A, HIGH_A, duration_s=2.5, offsets_cents=offsets)
    take = take_of(replace(_ROOM, low_a_hz=low_a_hz, notes=notes, drones=plan))
    assert_notes_true(take, (LOW_A, HIGH_A), cents=1.5)
    assert len(take.measured.drones) == 3


def test_notes_in_any_order_and_repeated_are_pooled() -> None:
    """Low A thrice, E twice, high A first: one reading for each, over all its parts."""
    order = (HIGH_A, LOW_A, "E", "C", LOW_A, "high G", "E", "B", LOW_A)
    take = take_of(replace(_ROOM, notes=scale_notes(*order)))
    assert_notes_true(take, set(order), cents=_ROOM_CENTS)
    assert len(reading(take.measured, LOW_A).spans_s) == 3
    assert len(reading(take.measured, "E").spans_s) == 2


def test_a_note_after_itself_with_a_grace_between_is_still_one_note() -> None:
    """Two low As parted by a grace note of 30 to 60 ms."""
    take = take_of(replace(_ROOM, notes=scale_notes(LOW_A, LOW_A, "D", "D", HIGH_A), graces=True))
    assert_notes_true(take, (LOW_A, "D", HIGH_A), cents=_ROOM_CENTS)


def test_grace_notes_are_not_reported_as_notes() -> None:
    """Graces on high G, D and E between low A, B, C and high A leave no note of their own."""
    take = take_of(replace(_ROOM, notes=scale_notes(LOW_A, "B", "C", HIGH_A), graces=True))
    assert_notes_true(take, (LOW_A, "B", "C", HIGH_A), cents=_ROOM_CENTS)


def test_pauses_between_notes() -> None:
    take = take_of(replace(_ROOM, pause_s=0.5))
    assert_notes_true(take, NOTES, cents=_ROOM_CENTS)


def test_drones_that_begin_midway() -> None:
    """Five seconds of chanter alone, then the drones strike in under it."""
    plan = DronePlan(level_db=0.0, bass_cents=3.0, tenor_cents=(2.5, -2.5), start_s=5.0)
    take = take_of(replace(_ROOM, notes=scale_notes(duration_s=1.2), drones=plan))
    assert_notes_true(take, NOTES, cents=1.5)
    assert_drones_true(take, cents=0.1)


def test_a_scale_played_twice_over_a_minute_is_pooled_over_its_sections() -> None:
    """Takes of more than 37 s are heard in sections; the notes of all of them are one reading each."""
    notes = scale_notes(duration_s=2.4)
    take = take_of(replace(_ROOM, notes=notes + notes, rate_hz=12_000.0))
    assert take.recording.duration_s > 40
    assert_notes_true(take, NOTES, cents=_ROOM_CENTS)
    for note in NOTES:
        starts = [start for start, _ in reading(take.measured, note).spans_s]
        assert max(starts) - min(starts) > 15


def test_the_stated_figures_describe_the_note() -> None:
    """Spread follows the wander, drift a slow slide, level the loudness; each against its truth."""
    take = take_of(replace(_ROOM, notes=scale_notes(LOW_A, "D", HIGH_A, duration_s=4.0), wander_cents=4.0))
    for found in take.measured.notes:
        ((start, end),) = found.spans_s
        cut = slice(round(start * 16_000), round(end * 16_000))
        freq = np.gradient(take.truth.chanter_cycles[cut]) * 16_000
        cents = 1200 * np.log2(freq / found.hz)
        time_s = np.arange(len(cents)) / 16_000
        assert found.spread_cents == pytest.approx(float(np.std(cents)), rel=0.15, abs=0.1)
        assert found.drift_cents_per_s == pytest.approx(float(np.polyfit(time_s, cents, 1)[0]), abs=0.1)
        rms = float(np.std(take.recording.samples[cut]))
        assert found.level_db == pytest.approx(20 * math.log10(rms), abs=1.5)


def test_cents_are_counted_from_the_reference_chosen() -> None:
    """Drones 7 cents above the chanter's low A: each choice moves all cents by its own reference."""
    plan = DronePlan(bass_cents=7.0, tenor_cents=(9.0, 5.0))
    recording, _ = render(replace(_ROOM, drones=plan, wander_cents=0.0))
    auto, drones, low_a, fixed = (
        measure(recording, reference="auto"),
        measure(recording, reference="drones"),
        measure(recording, reference="low-a"),
        measure(recording, reference=470.0),
    )
    assert auto.reference == drones.reference
    for measured, kind, hz in (
        (drones, "drones", 472.4 * 2 ** (7.0 / 1200)),
        (low_a, "low-a", 472.4),
        (fixed, "fixed", 470.0),
    ):
        assert measured.reference is not None
        assert measured.reference.kind == kind
        assert_within_cents(measured.reference.hz, hz, cents=0.1)
        for found in measured.notes:
            target_hz = measured.reference.hz * measured.scale.ratios[found.note]
            assert found.cents == pytest.approx(1200 * math.log2(found.hz / target_hz), abs=1e-9)


def test_drones_asked_for_and_absent_are_remarked() -> None:
    recording, _ = render(_ROOM)
    measured = measure(recording, reference="drones")
    assert "no-drones" in codes(measured)
    assert measured.reference is not None
    assert measured.reference.kind == "low-a"


def test_a_hint_names_a_chanter_out_of_the_usual_range() -> None:
    """Low A at 410 Hz; low G is then near the bottom of what is looked for."""
    recording, truth = render(replace(_ROOM, low_a_hz=410.0))
    measured = measure(recording, low_a_near_hz=413.0)
    assert names(measured) == list(NOTES)
    for found in measured.notes:
        assert_within_cents(found.hz, true_hz(found, truth), cents=_ROOM_CENTS)


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (236.0, r"reference: 236 Hz was given; low A lies from 350 to 600 Hz.*472 Hz \(an octave away\)"),
        (952.0, r"reference: 952 Hz was given; .*476 Hz \(an octave away\)"),
        (1.0, r"reference: 1 Hz was given; .*350 Hz"),
        (math.nan, r"reference: nan Hz was given"),
    ],
)
def test_a_reference_that_is_no_low_a_is_refused(given: float, sentence: str) -> None:
    recording, _ = render(replace(_ROOM, notes=scale_notes(LOW_A)))
    with pytest.raises(InputError, match=sentence):
        measure(recording, reference=given)


def test_a_hint_that_is_no_low_a_is_refused() -> None:
    recording, _ = render(replace(_ROOM, notes=scale_notes(LOW_A)))
    with pytest.raises(InputError, match="low A near: 119 Hz was given"):
        measure(recording, low_a_near_hz=119.0)


def test_a_short_note_of_half_a_second_is_measured() -> None:
    """Half a second is enough for 3 cents; a third is the least that counts."""
    notes = tuple(PlannedNote(note=note, duration_s=0.55) for note in NOTES)
    take = take_of(replace(_ROOM, notes=notes, wander_cents=0.0))
    assert_notes_true(take, NOTES, cents=3.0)
