"""Takes rendered and measured for tests, and their readings held against the truth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.analysis.measure import measure
from canebench.sound.synth import render
from support.pitch import assert_within_cents

if TYPE_CHECKING:
    from collections.abc import Iterable

    from canebench.sound.analysis.readings import Measurement, NoteReading
    from canebench.sound.files.recording import Recording
    from canebench.sound.synth import Recipe, Truth

#: Ends of a reading's span may lie this far outside the note it is named for.
_EDGE_S = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """A rendered take with its truth and what was measured in it."""

    recording: Recording
    truth: Truth
    measured: Measurement


def take_of(recipe: Recipe) -> Take:
    """Render and measure `recipe`; nothing is told to the measurement."""
    recording, truth = render(recipe)
    return Take(recording=recording, truth=truth, measured=measure(recording))


def reading(measured: Measurement, note: str) -> NoteReading:
    """The reading of `note`, which must be there."""
    found = [part for part in measured.notes if part.note == note]
    assert len(found) == 1, f"{note} was measured {len(found)} times; named were {names(measured)}"
    return found[0]


def names(measured: Measurement) -> list[str]:
    """Names of the notes measured, in scale order."""
    return [part.note for part in measured.notes]


def codes(measured: Measurement) -> list[str]:
    """Codes of all findings."""
    return [finding.code for finding in measured.findings]


def true_hz(found: NoteReading, truth: Truth) -> float:
    """The chanter's true mean over the very spans that the reading averaged, Hz."""
    lengths = [end - start for start, end in found.spans_s]
    return float(np.average([truth.chanter_hz(*span) for span in found.spans_s], weights=lengths))


def assert_notes_true(take: Take, notes: Iterable[str], *, cents: float) -> None:
    """Exactly `notes` were measured, each within its own note of the take and within `cents` of its truth."""
    wanted = sorted(notes)
    assert sorted(names(take.measured)) == wanted
    for note in wanted:
        found = reading(take.measured, note)
        own = [event for event in take.truth.events if event.note == note and not event.grace]
        for start, end in found.spans_s:
            assert any(event.start_s - _EDGE_S < start and end < event.end_s + _EDGE_S for event in own), (
                f"{note} was read from {start:.2f} to {end:.2f} s, where another note sounds"
            )
        assert_within_cents(found.hz, true_hz(found, take.truth), cents=cents)


def assert_drones_true(take: Take, *, cents: float) -> None:
    """Every drone of the recipe was found, and no other, each within `cents` of its truth over its spans."""
    found = sorted(take.measured.drones, key=lambda drone: drone.hz)
    assert len(found) == len(take.truth.drone_cycles)
    for drone in found:
        kin = [name for name in take.truth.drone_cycles if name.split()[0] == drone.drone]
        lengths = [end - start for start, end in drone.spans_s]
        means = [
            float(np.average([take.truth.drone_hz(name, *s) for s in drone.spans_s], weights=lengths))
            for name in kin
        ]
        assert_within_cents(drone.hz, min(means, key=lambda hz: abs(hz - drone.hz)), cents=cents)
