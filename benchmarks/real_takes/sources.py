"""The folder's recordings: which are drones, what each one's pitch is, and which belong to one instrument."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import CanebenchError
from canebench.base.units import hz_step_to_cents
from canebench.sound.files.decode import read_recording
from real_takes.course import Course, course_of, rough_pitch_hz

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from canebench.base.arrays import FloatArray

_SILENT_DB: Final = -30.0
_FRAME_S: Final = 0.01
_SHORTEST_S: Final = 0.5
#: Material whose notes waver by more than this is allowed twice the error.
WAVERING_CENTS: Final = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One isolated recording, trimmed, with its pitch's course."""

    name: str
    group: str
    is_drone: bool
    samples: FloatArray
    rate_hz: float
    hz: float
    course: Course

    @property
    def duration_s(self) -> float:
        """Length after trimming."""
        return len(self.samples) / self.rate_hz

    def waver_cents(self) -> float:
        """RMS of its pitch about the mean, without attack and release."""
        return self.course.waver_cents(0.2, self.duration_s - 0.2)

    def unsure_cents(self) -> float:
        """How good its truth is: median uncertainty of the mean over half of it."""
        half_s = self.duration_s / 2
        found = [
            abs(self.course.unsure_cycles(start_s, start_s + half_s)) / half_s
            for start_s in np.linspace(0.1, self.duration_s - 0.1 - half_s, 15)
        ]
        return hz_step_to_cents(float(np.median(found)), self.hz)

    def reversed(self) -> Source:
        """The recording backwards: it wavers otherwise, at the same pitch."""
        # The course's grid may end a step after the last sample; the samples' end is turned about.
        end_s = (len(self.samples) - 1) / self.rate_hz
        course = self.course.read(end_s - np.arange(len(self.course.cycles)) * self.course.step_s)
        return Source(
            name=f"{self.name} backwards",
            group=self.group,
            is_drone=self.is_drone,
            samples=self.samples[::-1],
            rate_hz=self.rate_hz,
            hz=self.hz,
            course=Course(step_s=course.step_s, cycles=-course.cycles, halves=-course.halves),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """Recordings that belong together: notes of a chanter and what sounds as its drones."""

    name: str
    notes: tuple[Source, ...]
    drones: tuple[Source, ...]

    @property
    def waver_cents(self) -> float:
        """Median over its notes of how much each wavers, cents."""
        return float(np.median([note.waver_cents() for note in self.notes]))

    @property
    def wavers(self) -> bool:
        """Whether the asked figures are doubled for it."""
        return self.waver_cents > WAVERING_CENTS


def source_at(path: Path) -> Source | str:
    """The recording in a file, or why it is left out."""
    try:
        recording = read_recording(path)
    except CanebenchError as error:
        return f"left out: {path.name}: {error}"
    source = source_of(path.stem, np.asarray(recording.samples, dtype=float), recording.rate_hz)
    return f"left out: {path.name}: shorter than {_SHORTEST_S:g} s, or silent" if source is None else source


def source_of(name: str, samples: FloatArray, rate_hz: float) -> Source | None:
    """The recording trimmed and followed; None where too little sounds."""
    trimmed = _trimmed(samples - np.mean(samples), rate_hz)
    if len(trimmed) < _SHORTEST_S * rate_hz:
        return None
    course = course_of(trimmed, rate_hz, rough_pitch_hz(trimmed, rate_hz))
    return Source(
        name=name,
        group=name.split("-", maxsplit=1)[0] if "-" in name else "",
        is_drone="drone" in name.lower(),
        samples=trimmed,
        rate_hz=rate_hz,
        hz=course.mean_hz(0.0, len(trimmed) / rate_hz),
        course=course,
    )


def _trimmed(samples: FloatArray, rate_hz: float) -> FloatArray:
    """From the first to the last frame within 30 dB of the recording's own level."""
    size = round(_FRAME_S * rate_hz)
    frames = samples[: len(samples) // size * size].reshape(-1, size)
    level = np.sqrt(np.mean(frames**2, axis=1))
    own = np.sqrt(np.mean(samples**2))
    loud = np.flatnonzero(level > own * 10 ** (_SILENT_DB / 20))
    return samples[loud[0] * size : (loud[-1] + 1) * size] if own > 0 else samples[:0]


def instruments_of(sources: Sequence[Source]) -> list[Instrument]:
    """Groups with notes; one without drones takes those of groups without notes, else its lowest."""
    drones = [source for source in sources if source.is_drone]
    groups = sorted({source.group for source in sources if not source.is_drone})
    homeless = [drone for drone in drones if drone.group not in groups]
    made = []
    for group in groups:
        notes = [source for source in sources if source.group == group and not source.is_drone]
        own = [drone for drone in drones if drone.group == group]
        lowest = sorted(notes, key=lambda note: note.hz)[: max(2, len(notes) // 3)]
        made.append(
            Instrument(name=group or "notes", notes=tuple(notes), drones=tuple(own or homeless or lowest))
        )
    return made


def mixed(instruments: Sequence[Instrument]) -> Instrument:
    """Every note with every drone: other pairings."""
    drones = [drone for one in instruments for drone in one.drones if drone.is_drone]
    drones = drones or [drone for one in instruments for drone in one.drones]
    notes = tuple(note for one in instruments for note in one.notes)
    return Instrument(name="mixed", notes=notes, drones=tuple(drones))
