"""What is played: the nine notes in some order, and invented tunes. No tune of anybody's is in it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.notes import NOTES

if TYPE_CHECKING:
    from collections.abc import Callable


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedEvent:
    """A note, or a grace note, to be played for a time, after a silence of the chanter."""

    note: str
    duration_s: float
    grace: bool = False
    rest_before_s: float = 0.0


def scale(rng: np.random.Generator) -> list[PlannedEvent]:
    """Every note once, 2.1 s each: rising, falling or shuffled; half the time with grace notes."""
    return _once_each(rng, [2.1] * len(NOTES))


def short_notes(rng: np.random.Generator) -> list[PlannedEvent]:
    """The same with notes of 0.7 to 1.5 s."""
    return _once_each(rng, [float(rng.uniform(0.7, 1.5)) for _ in NOTES])


def with_rests(rng: np.random.Generator) -> list[PlannedEvent]:
    """The scale with two seconds of rest before it and after every third note."""
    notes = [event for event in scale(rng) if not event.grace]
    return [
        replace(event, rest_before_s=float(rng.uniform(1.8, 2.4))) if i % 3 == 0 else event
        for i, event in enumerate(notes)
    ]


def late(rng: np.random.Generator) -> list[PlannedEvent]:
    """The scale, begun 1.2 s after the drones."""
    return _begun_after(scale(rng), 1.2)


def later(rng: np.random.Generator) -> list[PlannedEvent]:
    """The scale, begun 6 s after the drones."""
    return _begun_after(scale(rng), 6.0)


def _begun_after(events: list[PlannedEvent], rest_s: float) -> list[PlannedEvent]:
    return [replace(events[0], rest_before_s=rest_s), *events[1:]]


def _once_each(rng: np.random.Generator, durations_s: list[float]) -> list[PlannedEvent]:
    orders = [list(NOTES), list(NOTES[::-1]), [str(note) for note in rng.permutation(NOTES)]]
    order = orders[int(rng.integers(3))]
    graces = rng.uniform() < 0.5
    notes = [
        PlannedEvent(note=note, duration_s=length_s)
        for note, length_s in zip(order, durations_s, strict=True)
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
    for before, note in pairwise(notes):
        others = [name for name in {event.note for event in notes} if name not in (before.note, note.note)]
        if others and rng.uniform() < share:
            grace = sorted(others)[int(rng.integers(len(others)))]
            whole.append(PlannedEvent(note=grace, duration_s=float(rng.uniform(0.03, 0.06)), grace=True))
        whole.append(note)
    return whole


#: What may be played, by name.
LAYOUTS: Final[dict[str, Callable[[np.random.Generator], list[PlannedEvent]]]] = {
    "scale": scale,
    "short": short_notes,
    "rests": with_rests,
    "late": late,
    "later": later,
    "march": march,
    "air": air,
}
