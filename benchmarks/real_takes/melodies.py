"""What is played: the nine notes in some order, and invented tunes. No tune of anybody's is in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from canebench.base.notes import NOTES


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedEvent:
    """A note, or a grace note, to be played for a time."""

    note: str
    duration_s: float
    grace: bool = False


def scale(rng: np.random.Generator, *, short: bool = False) -> list[PlannedEvent]:
    """Every note once: rising, falling or shuffled, 2.1 s each (short: 0.7 to 1.5 s); half the time with graces."""
    order = [list(NOTES), list(NOTES[::-1]), [str(n) for n in rng.permutation(NOTES)]][int(rng.integers(3))]
    graces = rng.uniform() < 0.5
    notes = [
        PlannedEvent(note=note, duration_s=float(rng.uniform(0.7, 1.5)) if short else 2.1) for note in order
    ]
    return _with_graces(notes, rng, share=1.0) if graces else notes


def march(rng: np.random.Generator) -> list[PlannedEvent]:
    """60 s of notes of 0.2 to 0.9 s, most with a grace note before them."""
    return _tune(rng, total_s=60.0, shortest_s=0.2, longest_s=0.9, share=0.8)


def air(rng: np.random.Generator) -> list[PlannedEvent]:
    """90 s of notes of 0.5 to 3 s, half with a grace note before them."""
    return _tune(rng, total_s=90.0, shortest_s=0.5, longest_s=3.0, share=0.5)


def _tune(
    rng: np.random.Generator, *, total_s: float, shortest_s: float, longest_s: float, share: float
) -> list[PlannedEvent]:
    """A walk in the nine notes: steps mostly, thirds and leaps now and then, drawn to low A and E."""
    place, notes, length_s = int(rng.integers(len(NOTES))), [], 0.0
    pull = np.array([0.7, 1.6, 1.0, 1.1, 1.0, 1.5, 0.9, 0.8, 1.1])
    nearness = np.array([0.0, 5.0, 3.0, 1.5, 1.0, 0.5, 0.3, 0.3, 0.2])
    while length_s < total_s:
        duration_s = float(np.exp(rng.uniform(np.log(shortest_s), np.log(longest_s))))
        notes.append(PlannedEvent(note=NOTES[place], duration_s=duration_s))
        length_s += duration_s
        weight = pull * nearness[np.abs(np.arange(len(NOTES)) - place)]
        place = int(rng.choice(len(NOTES), p=weight / weight.sum()))
    return _with_graces(notes, rng, share=share)


def _with_graces(notes: list[PlannedEvent], rng: np.random.Generator, *, share: float) -> list[PlannedEvent]:
    """A grace note of 30 to 60 ms from another note before so many of them."""
    whole = notes[:1]
    for before, note in zip(notes[:-1], notes[1:], strict=True):
        others = [name for name in {event.note for event in notes} if name not in (before.note, note.note)]
        if others and rng.uniform() < share:
            grace = sorted(others)[int(rng.integers(len(others)))]
            whole.append(PlannedEvent(note=grace, duration_s=float(rng.uniform(0.03, 0.06)), grace=True))
        whole.append(note)
    return whole
