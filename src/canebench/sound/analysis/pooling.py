"""From the holds and drones of all sections to one reading for each note and drone."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.units import hz_step_to_cents, hz_to_cents
from canebench.sound.analysis.readings import DroneReading, NoteReading

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.scales import Scale
    from canebench.sound.analysis.notes.note_tracking import Held
    from canebench.sound.analysis.readings import DroneName
    from canebench.sound.analysis.section import Heard

#: Tenors nearer than this (and than the time allows) are one.
_UNISON_CENTS = 0.15
#: Holds shorter than this share of the note's longest add doubt, not knowledge.
_LEAST_SHARE = 0.25
#: So far from the middle one a place of a note says nothing of it.
_FAR_CENTS = 15.0


def note_readings(
    holds: Sequence[Held], names: Sequence[str | None], scale: Scale, reference_hz: float
) -> tuple[NoteReading, ...]:
    """One reading a note, in scale order: the mean over all its holds by their length."""
    found = []
    for note in NOTES:
        own = [hold for hold, name in zip(holds, names, strict=True) if name == note]
        if own:
            found.append(_pooled(note, _typical(own), reference_hz * scale.ratios[note]))
    return tuple(found)


def _typical(holds: list[Held]) -> list[Held]:
    """Those that are neither very short nor far off: a note that is still coming to its pitch is not it."""
    longest = max(hold.duration_s for hold in holds)
    kept = sorted((h for h in holds if h.duration_s > _LEAST_SHARE * longest), key=lambda hold: hold.hz)
    passed = np.cumsum([hold.duration_s for hold in kept])
    middle = kept[int(np.searchsorted(passed, passed[-1] / 2))]
    near = [hold for hold in kept if abs(hz_to_cents(hold.hz, middle.hz)) < _FAR_CENTS]
    return sorted(near, key=lambda hold: hold.start_s)


def _pooled(note: str, holds: list[Held], target_hz: float) -> NoteReading:
    length = np.array([hold.duration_s for hold in holds])
    share = length / length.sum()
    hz = np.array([hold.hz for hold in holds])
    mean_hz = float(share @ hz)
    sd_hz = float(np.sqrt(share**2 @ np.array([hold.sd_hz for hold in holds]) ** 2))
    within = np.array([hold.spread_cents for hold in holds]) ** 2
    between = hz_to_cents(hz, mean_hz) ** 2
    return NoteReading(
        note=note,
        hz=mean_hz,
        sd_hz=sd_hz,
        cents=hz_to_cents(mean_hz, target_hz),
        sd_cents=hz_step_to_cents(sd_hz, mean_hz),
        drift_cents_per_s=float(share @ np.array([hold.drift_cents_per_s for hold in holds])),
        spread_cents=float(np.sqrt(share @ (within + between))),
        spans_s=tuple((hold.start_s, hold.end_s) for hold in holds),
        level_db=float(10 * np.log10(share @ 10 ** (np.array([hold.level_db for hold in holds]) / 10))),
    )


def drone_readings(sections: Sequence[Heard]) -> tuple[DroneReading, ...]:
    """Bass first, then the tenors from the sharpest, each the mean over all the runs it was heard in."""
    parts: dict[tuple[DroneName, int], list[DroneReading]] = {}
    for run in (run for heard in sections for run in heard.drones):
        rank: dict[DroneName, int] = {"bass": 0, "tenor": 0}
        for reading in sorted(run, key=lambda reading: -reading.hz):
            parts.setdefault((reading.drone, rank[reading.drone]), []).append(reading)
            rank[reading.drone] += 1
    return _parted([_joined(readings) for _, readings in sorted(parts.items())])


def _joined(readings: list[DroneReading]) -> DroneReading:
    """One drone over several runs, by their length."""
    spans = tuple(span for reading in readings for span in reading.spans_s)
    length = np.array([end - start for start, end in spans])
    share = length / length.sum()
    hz = np.array([reading.hz for reading in readings])
    mean_hz = float(share @ hz)
    within = np.array([reading.spread_cents for reading in readings]) ** 2
    return DroneReading(
        drone=readings[0].drone,
        hz=mean_hz,
        sd_hz=float(np.sqrt(share**2 @ np.array([reading.sd_hz for reading in readings]) ** 2)),
        spread_cents=float(np.sqrt(share @ (within + hz_to_cents(hz, mean_hz) ** 2))),
        spans_s=spans,
        separable=all(reading.separable for reading in readings),
    )


def _parted(readings: list[DroneReading]) -> tuple[DroneReading, ...]:
    """The readings, with two tenors that cannot be told apart given as one that says so."""
    tenors = [reading for reading in readings if reading.drone == "tenor"]
    if len(tenors) == 2:
        apart = abs(hz_to_cents(tenors[0].hz, tenors[1].hz))
        first, second = (hz_step_to_cents(tenor.sd_hz, tenor.hz) for tenor in tenors)
        if apart < max(_UNISON_CENTS, 2 * math.hypot(first, second)):
            # Each was heard all the time: the mean of the two is as good as either.
            both = _joined(tenors)
            readings = [r for r in readings if r.drone == "bass"]
            readings.append(replace(both, spans_s=tenors[0].spans_s, separable=False))
    return tuple(readings)
