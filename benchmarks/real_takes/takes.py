"""A take made of real notes: which recordings, at what pitches, in what order, and when each truly sounds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE
from real_takes.melodies import PlannedEvent, air, march, scale
from real_takes.sources import Instrument, mixed
from real_takes.voices import RATE_HZ, Voice, drone_voice, note_voice

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray
    from real_takes.sources import Source

Layout = Literal["scale", "short", "march", "air"]
Tuning = Literal["apart", "in-tune", "gliding"]

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

    def gained_cycles(self, start_s: float, end_s: float) -> float:
        """Phase gained by the isolated note between two moments of the take within the event."""
        shift = self.from_s - self.start_s
        first, last = self.voice.course.at(np.array([start_s + shift, end_s + shift]))
        return float(last - first)


@dataclass(frozen=True, slots=True, kw_only=True)
class RealTake:
    """Chanter and drones, each by itself and of equal level (RMS), and all that is true of them."""

    chanter: FloatArray
    drones: FloatArray
    drone_voices: tuple[tuple[str, Voice], ...]
    events: tuple[Event, ...]
    low_a_hz: float

    @property
    def duration_s(self) -> float:
        """Length of the take."""
        return len(self.chanter) / RATE_HZ

    def sounds_s(self, note: str) -> float:
        """Seconds that a note sounds, grace notes apart."""
        return sum(e.end_s - e.start_s for e in self.events if e.note == note and not e.grace)


def instrument_for(seed: int, instruments: Sequence[Instrument]) -> Instrument:
    """By turns each of the folder's instruments and, every fourth time, other pairings."""
    if len(instruments) > 1 and seed % 4 == 0:
        return mixed(instruments)
    return instruments[(seed - seed // 4 if len(instruments) > 1 else seed) % len(instruments)]


def take_of(seed: int, instruments: Sequence[Instrument], layout: Layout, tuning: Tuning) -> RealTake:
    """The take of one seed; one seed gives the same notes in every condition of that layout and tuning."""
    key = [("scale", "short", "march", "air").index(layout), ("apart", "in-tune", "gliding").index(tuning)]
    rng = np.random.default_rng([seed, *key])
    instrument = instrument_for(seed, instruments)
    low_a_hz = float(rng.uniform(430.0, 500.0))
    plan = {"scale": scale, "short": scale, "march": march, "air": air}[layout]
    events = plan(rng, short=True) if layout == "short" else plan(rng)
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
            source = _source_near(instrument.notes, target_hz, rng)
            voices[note] = note_voice(source, target_hz, min(many, _LONGEST_VOICE_S), rng)
    return voices


def _source_near(sources: Sequence[Source], target_hz: float, rng: np.random.Generator) -> Source:
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
        whole_part, start, first = _cut(event)
        placed[i] = Event(
            note=event.note,
            start_s=start / RATE_HZ,
            end_s=(start + len(whole_part)) / RATE_HZ,
            grace=event.grace,
            voice=event.voice,
            from_s=first / RATE_HZ,
        )
        whole[start : start + len(whole_part)] += gains[event.note] * whole_part
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
    return tuple(
        (
            kind,
            drone_voice(
                source,
                hz * 2 ** (cents / 1200),
                duration_s,
                rng,
                glide_cents=float(rng.uniform(20, 60)) * (-1) ** i if tuning == "gliding" else 0.0,
            ),
        )
        for i, (kind, source, cents, hz) in enumerate(chosen)
    )
