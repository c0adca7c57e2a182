"""A take made of real notes: which recordings, at what pitches, in what order, and when each truly sounds."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE
from real_takes.melodies import LAYOUTS
from real_takes.sources import Instrument, mixed
from real_takes.voices import RATE_HZ, Voice, drone_voice, note_voice

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray
    from real_takes.melodies import PlannedEvent
    from real_takes.sources import Source

Tuning = Literal["apart", "in-tune", "gliding", "striking"]
_TUNINGS: Final = ("apart", "in-tune", "gliding", "striking")

_NEAR_CENTS: Final = 300.0
_CHOICES: Final = 3
_SHORTEST_NOTE_S: Final = 1.0
_LONGEST_VOICE_S: Final = 8.0
#: Notes' levels differ by so many decibels either way.
_LEVELS_DB: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One sounding of a note, from `from_s` of its voice on."""

    note: str
    start_s: float
    end_s: float
    grace: bool
    voice: Voice
    from_s: float

    def gained_cycles(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Phase gained by the isolated note between two moments within the event, and its uncertainty."""
        first, last = start_s + self.from_s - self.start_s, end_s + self.from_s - self.start_s
        course = self.voice.course
        return course.mean_hz(first, last) * (last - first), course.unsure_cycles(first, last)


@dataclass(frozen=True, slots=True, kw_only=True)
class RealTake:
    """Chanter and drones, each by itself and of equal level (RMS), and all that is true of them."""

    chanter: FloatArray
    drones: FloatArray
    drone_voices: tuple[tuple[str, Voice], ...]
    events: tuple[Event, ...]
    low_a_hz: float
    drones_begin_s: float = 0.0

    @property
    def duration_s(self) -> float:
        """Length of the take."""
        return len(self.chanter) / RATE_HZ

    def sounds_s(self, note: str) -> float:
        """Seconds that a note sounds, grace notes apart."""
        return sum(e.end_s - e.start_s for e in self.events if e.note == note and not e.grace)

    def after(self, lead_s: float) -> RealTake:
        """The same take with so much silence before it."""
        silence = np.zeros(round(lead_s * RATE_HZ))
        shift_s = len(silence) / RATE_HZ
        return replace(
            self,
            chanter=np.concatenate([silence, self.chanter]),
            drones=np.concatenate([silence, self.drones]),
            events=tuple(
                replace(e, start_s=e.start_s + shift_s, end_s=e.end_s + shift_s) for e in self.events
            ),
            drones_begin_s=self.drones_begin_s + shift_s,
        )

    def drone_hz(self, voice: Voice, spans_s: Sequence[tuple[float, float]]) -> float:
        """Mean of a drone over spans of the take, as far as it sounds in them."""
        within = [(max(0.0, a - self.drones_begin_s), b - self.drones_begin_s) for a, b in spans_s]
        gained = sum(voice.course.mean_hz(a, b) * (b - a) for a, b in within if b > a)
        return gained / sum(b - a for a, b in within if b > a)


def instrument_for(seed: int, instruments: Sequence[Instrument]) -> Instrument:
    """By turns each of the folder's instruments and, every fourth time, other pairings."""
    if len(instruments) > 1 and seed % 4 == 0:
        return mixed(instruments)
    return instruments[(seed - seed // 4 if len(instruments) > 1 else seed) % len(instruments)]


def take_of(
    seed: int,
    instruments: Sequence[Instrument],
    layout: str,
    tuning: Tuning,
    *,
    low_a_hz: float | None = None,
) -> RealTake:
    """The take of one seed; one seed gives the same notes in every condition of that layout and tuning."""
    rng = np.random.default_rng([seed, list(LAYOUTS).index(layout), _TUNINGS.index(tuning)])
    instrument = instrument_for(seed, instruments)
    own_low_a_hz = float(rng.uniform(430.0, 500.0))
    low_a_hz = own_low_a_hz if low_a_hz is None else low_a_hz
    events = LAYOUTS[layout](rng)
    voices = _note_voices(instrument, low_a_hz, events, tuning, rng)
    chanter, placed = _played(events, voices, rng)
    drone_voices = _drone_voices(instrument, low_a_hz, len(chanter) / RATE_HZ, tuning, rng)
    drones = np.sum([_level(v.samples) * 10 ** (rng.uniform(-2, 2) / 20) for _, v in drone_voices], axis=0)
    return RealTake(
        chanter=_level(chanter),
        drones=_level(drones),
        drone_voices=drone_voices,
        events=placed,
        low_a_hz=low_a_hz,
    )


def _level(samples: FloatArray) -> FloatArray:
    """At an RMS of one."""
    return np.asarray(samples / np.sqrt(np.mean(samples**2)))


def _note_voices(
    instrument: Instrument,
    low_a_hz: float,
    events: Sequence[PlannedEvent],
    tuning: Tuning,
    rng: np.random.Generator,
) -> dict[str, Voice]:
    """One voice for each note that is played, at its own offset from the scale."""
    common, own = (0.0, 3.0) if tuning == "in-tune" else (float(rng.uniform(-10, 10)), 20.0)
    voices = {}
    for note in NOTES:
        offset = common + float(rng.uniform(-own, own))
        needed = [event.duration_s for event in events if event.note == note]
        if needed:
            target_hz = low_a_hz * DEFAULT_SCALE.ratios[note] * 2 ** (offset / 1200)
            many = 3 * max(needed) if len(needed) > 2 else max(needed) + 0.05
            source = source_near(instrument.notes, target_hz, rng)
            voices[note] = note_voice(source, target_hz, min(many, _LONGEST_VOICE_S), rng)
    return voices


def source_near(sources: Sequence[Source], target_hz: float, rng: np.random.Generator) -> Source:
    """One of the nearest few within three semitones that are long enough; else the nearest."""
    long = [s for s in sources if s.duration_s * s.hz / target_hz >= _SHORTEST_NOTE_S] or list(sources)
    by_distance = sorted(long, key=lambda source: abs(np.log2(source.hz / target_hz)))
    near = [s for s in by_distance if abs(1200 * np.log2(s.hz / target_hz)) <= _NEAR_CENTS][:_CHOICES]
    return near[int(rng.integers(len(near)))] if near else by_distance[0]


def _played(
    events: Sequence[PlannedEvent], voices: dict[str, Voice], rng: np.random.Generator
) -> tuple[FloatArray, tuple[Event, ...]]:
    """The notes one after another, joined over a few milliseconds as fingers do."""
    gains = {
        note: 10 ** (rng.uniform(-_LEVELS_DB, _LEVELS_DB) / 20) / np.sqrt(np.mean(voice.samples**2))
        for note, voice in voices.items()
    }
    placed: list[Event] = []
    at_s = 0.0
    for plan in events:
        voice = voices[plan.note]
        at_s += plan.rest_before_s
        overlap_s = float(rng.uniform(0.003, 0.007))
        length_s = min(plan.duration_s + overlap_s, voice.duration_s)
        from_s = float(rng.uniform(0.0, voice.duration_s - length_s))
        placed.append(
            Event(
                note=plan.note,
                start_s=at_s,
                end_s=at_s + length_s,
                grace=plan.grace,
                voice=voice,
                from_s=from_s,
            )
        )
        at_s += length_s - overlap_s
    whole = np.zeros(round((placed[-1].end_s + 0.02) * RATE_HZ))
    for i, event in enumerate(placed):
        part, start, first = _cut(event)
        placed[i] = replace(
            event, start_s=start / RATE_HZ, end_s=(start + len(part)) / RATE_HZ, from_s=first / RATE_HZ
        )
        whole[start : start + len(part)] += gains[event.note] * part
    return whole, tuple(placed)


def _cut(event: Event) -> tuple[FloatArray, int, int]:
    """The event's samples with soft ends, where they begin in the take, and where in the voice."""
    start, first = round(event.start_s * RATE_HZ), int(event.from_s * RATE_HZ)
    part = event.voice.samples[first : first + int((event.end_s - event.start_s) * RATE_HZ)].copy()
    size = round(0.004 * RATE_HZ)
    ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(size) + 0.5) / size)
    part[:size] *= ramp
    part[-size:] *= ramp[::-1]
    return part, start, first


def _drone_voices(
    instrument: Instrument, low_a_hz: float, duration_s: float, tuning: Tuning, rng: np.random.Generator
) -> tuple[tuple[str, Voice], ...]:
    """Bass and two tenors, some cents apart; the tenors from different recordings or directions."""
    apart = 1.0 if tuning == "in-tune" else 6.0
    bass_cents = float(rng.uniform(-apart, apart))
    side = 1 if rng.uniform() < 0.5 else -1
    tenor_cents = [
        side * apart * float(rng.uniform(0.17, 1.0)),
        -side * apart * float(rng.uniform(0.17, 1.0)),
    ]
    pool = list(instrument.drones)
    first = pool[int(rng.integers(len(pool)))]
    others = [drone for drone in pool if drone is not first]
    second = others[int(rng.integers(len(others)))] if others else first.reversed()
    bass = pool[int(rng.integers(len(pool)))]
    if rng.uniform() < 0.5:
        bass = bass.reversed()
    chosen = (
        ("bass", bass, bass_cents, low_a_hz / 4),
        ("tenor", first, tenor_cents[0], low_a_hz / 2),
        ("tenor", second, tenor_cents[1], low_a_hz / 2),
    )
    made = []
    for i, (kind, source, cents, hz) in enumerate(chosen):
        glide_cents = {"gliding": (-1) ** i * float(rng.uniform(20, 60)), "striking": -200.0}.get(tuning, 0.0)
        glide_s = 0.7 if tuning == "striking" else 5.0
        target_hz = hz * 2 ** (cents / 1200)
        voice = drone_voice(source, target_hz, duration_s, rng, glide_cents=glide_cents, glide_s=glide_s)
        made.append((kind, voice))
    return tuple(made)
