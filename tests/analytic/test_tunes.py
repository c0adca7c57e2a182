"""Invented tunes keep to their lengths and to the chanter; what is rendered is what was written."""

from __future__ import annotations

import itertools
from collections import Counter

import numpy as np
import pytest

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.notes import NOTES
from canebench.sound.synth import TUNES, Recipe, behaviour_for, render, tune, tune_notes

_LENGTHS = {"march": (60.0, 0.2, 0.9), "air": (90.0, 0.5, 3.0)}


@pytest.mark.parametrize("kind", TUNES)
@pytest.mark.parametrize("seed", [7_401, 7_402, 7_403])
def test_a_tune_keeps_to_its_lengths(kind: str, seed: int) -> None:
    total_s, shortest_s, longest_s = _LENGTHS[kind]
    notes = tune(kind, seed)
    lengths = [note.duration_s for note in notes]
    assert sum(lengths) == pytest.approx(total_s, abs=2 * longest_s)
    assert shortest_s <= min(lengths)
    assert max(lengths) == longest_s
    assert notes[-1].note == "low A"
    assert np.median(lengths) < (shortest_s + longest_s) / 2


def test_no_note_follows_itself_and_all_nine_come() -> None:
    heard: Counter[str] = Counter()
    for seed in range(7_410, 7_420):
        names = [note.note for note in tune("march", seed)]
        assert all(a != b for a, b in itertools.pairwise(names))
        heard.update(names)
    assert set(heard) == set(NOTES)
    assert max(heard.values()) < 8 * min(heard.values())


def test_most_steps_are_small() -> None:
    places = [NOTES.index(note.note) for note in tune("march", 7_421)]
    steps = np.abs(np.diff(places[:-1]))
    assert 0.3 < np.mean(steps == 1) < 0.75
    assert steps.max() <= 4


def test_a_note_is_as_far_off_whenever_it_comes() -> None:
    notes = tune("march", 7_422, offsets_cents={"D": 6.0})
    assert {note.offset_cents for note in notes if note.note == "D"} == {6.0}
    assert {note.offset_cents for note in notes if note.note != "D"} == {0.0}


def test_the_seed_fixes_the_tune() -> None:
    assert tune("air", 7_423) == tune("air", 7_423) != tune("air", 7_424)


def test_a_tune_is_rendered_note_by_note_with_graces_that_are_heard() -> None:
    """Events follow the plan; a grace is neither the note before it nor the one after."""
    notes = tune_notes(7_425, total_s=12.0, shortest_s=0.2, longest_s=0.8)
    recipe = Recipe(
        low_a_hz=476.0, notes=notes, seed=7_425, rate_hz=12_000.0, graces=True, behaviour=behaviour_for(7_425)
    )
    recording, truth = render(recipe)
    assert [e.note for e in truth.events if e.note and not e.grace] == [note.note for note in notes]
    sounding = truth.events[1:]
    for before, grace, after in zip(sounding, sounding[1:], sounding[2:], strict=False):
        if grace.grace:
            assert grace.note not in {before.note, after.note}
    assert sum(event.grace for event in truth.events) == len(notes) - 1
    assert recording.duration_s == pytest.approx(truth.events[-1].end_s, abs=1e-3)


@pytest.mark.parametrize(("total_s", "shortest_s", "longest_s"), [(10, 0.01, 1), (10, 2, 1), (1, 0.2, 2)])
def test_lengths_that_cannot_be_are_refused(total_s: float, shortest_s: float, longest_s: float) -> None:
    with pytest.raises(InputError, match=r"lengths of a tune: .* must rise from 0.02 s"):
        tune_notes(1, total_s=total_s, shortest_s=shortest_s, longest_s=longest_s)


def test_an_unknown_tune_is_refused() -> None:
    with pytest.raises(UnknownNameError, match="'jig' was given; allowed are march, air"):
        tune("jig", 1)
