"""Takes with known truth: chanter, drones, room and noise, rendered from a recipe and a seed.

The signal is the textbook one: each source is a harmonic series on its own phase, partials with slow
amplitude jitter, a room of exponentially decaying noise (RT60), and 1/f noise. The spectra are our
own choice (second to fifth partial as loud as or louder than the first, acoustics of a conical reed pipe).
Guarded by `tests/analytic/test_synth.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE, Scale
from canebench.base.units import cents_to_hz
from canebench.sound.files.recording import Recording

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import ComplexArray, FloatArray

_TOP_HZ = 10_000.0
_PEAK = 0.7
_GRACE_S = (0.03, 0.06)
_GRACE_NOTES = ("high G", "D", "E")
#: Fingers take a few milliseconds to open or close a hole.
_FINGER_S = 0.006
_JITTER_HZ = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedNote:
    """One note of a recipe: how long it is held and how far off the scale it is, cents."""

    note: str
    duration_s: float = 2.0
    offset_cents: float = 0.0

    def __post_init__(self) -> None:
        if self.note not in NOTES:
            raise UnknownNameError(field="note", given=self.note, known=NOTES)
        if not 0.02 <= self.duration_s <= 3600:
            raise InputError(
                field=f"duration of {self.note}",
                given=f"{self.duration_s:g} s",
                allowed="from 0.02 to 3600 s",
                nearest="2 s",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class DronePlan:
    """Three drones. Cents are from half (tenors) and a quarter (bass) of the recipe's low A.

    `level_db` is all drones together (RMS) against the chanter; `start_s` is when they begin to sound.
    """

    level_db: float = 0.0
    bass_cents: float = 0.0
    tenor_cents: tuple[float, ...] = (0.0, 0.0)
    wander_cents: float = 0.0
    start_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """All that a rendered take depends on; the same recipe renders the same samples.

    Parameters
    ----------
    low_a_hz : number, 350 to 600
        Low A of the scale, Hz; every note lies `offset_cents` from its place on it.
    notes : tuple of PlannedNote
    drones : DronePlan or None
    wander_cents : number >= 0
        RMS of the slow wander of the blowing (about `wander_hz`), cents.
    snr_db : number or None
        Chanter power over 1/f noise power (above 50 Hz); None is no noise.
    rt60_s : number or None
        Reverberation time; direct sound over reverberation is `direct_db`.
    graces : bool
        30-60 ms grace notes between the notes.
    pause_s : number >= 0
        Silence of the chanter between the notes.
    """

    low_a_hz: float
    notes: tuple[PlannedNote, ...]
    seed: int
    scale: Scale = field(default=DEFAULT_SCALE)
    drones: DronePlan | None = None
    wander_cents: float = 0.0
    wander_hz: float = 0.7
    jitter: float = 0.01
    snr_db: float | None = None
    rt60_s: float | None = None
    direct_db: float = 3.0
    graces: bool = False
    pause_s: float = 0.0
    lead_s: float = 0.3
    rate_hz: float = 48_000.0

    def __post_init__(self) -> None:
        if not 350.0 <= self.low_a_hz <= 600.0:
            raise InputError(
                field="low A", given=f"{self.low_a_hz:g} Hz", allowed="from 350 to 600 Hz", nearest="476 Hz"
            )
        if not self.notes:
            raise InputError(field="notes", given="none", allowed="at least one note is needed")


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """A stretch in which the chanter holds one fingering: note (None in a pause), start and end in s."""

    note: str | None
    start_s: float
    end_s: float
    grace: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What was rendered. Cycles are phases over 2 pi, one value a sample; the tests' only yardstick."""

    rate_hz: float
    events: tuple[Event, ...]
    chanter_cycles: FloatArray
    drone_cycles: dict[str, FloatArray]

    def chanter_hz(self, start_s: float, end_s: float) -> float:
        """Mean true frequency of the chanter over a span, Hz."""
        return _mean_hz(self.chanter_cycles, self.rate_hz, start_s, end_s)

    def drone_hz(self, drone: str, start_s: float, end_s: float) -> float:
        """Mean true frequency of `drone` ("bass", "tenor 1", "tenor 2") over a span, Hz."""
        return _mean_hz(self.drone_cycles[drone], self.rate_hz, start_s, end_s)


def drones_as_tuned(level_db: float) -> DronePlan:
    """Three drones as a good tuner leaves them: within a cent of low A, not dead on it nor quite still."""
    return DronePlan(level_db=level_db, bass_cents=-0.5, tenor_cents=(0.8, -0.6), wander_cents=0.3)


def scale_notes(
    *names: str, duration_s: float = 2.0, offsets_cents: dict[str, float] | None = None
) -> tuple[PlannedNote, ...]:
    """Planned notes for the names given (all nine when none are), with an offset for each."""
    offsets = offsets_cents or {}
    return tuple(
        PlannedNote(note=name, duration_s=duration_s, offset_cents=offsets.get(name, 0.0))
        for name in (names or NOTES)
    )


def render(recipe: Recipe) -> tuple[Recording, Truth]:
    """Render `recipe`: the recording and its truth. The seed fixes every random choice."""
    rng = np.random.default_rng(recipe.seed)
    events, holds = _score(recipe, rng)
    count = round(events[-1].end_s * recipe.rate_hz)
    chanter, cycles = _chanter(recipe, events, holds, count, rng)
    room = _room(recipe, rng)
    chanter = room(chanter)
    # Level and noise refer to the time that the chanter sounds, not to its pauses.
    power = float(np.mean(chanter**2)) * count / max(1, _sounding(recipe, events))
    mix = chanter
    drone_cycles: dict[str, FloatArray] = {}
    if recipe.drones is not None:
        drones, drone_cycles = _drones(recipe, recipe.drones, count, rng)
        mix = chanter + np.sqrt(power) * 10 ** (recipe.drones.level_db / 20) * room(drones)
    if recipe.snr_db is not None:
        mix = mix + np.sqrt(power) * 10 ** (-recipe.snr_db / 20) * _pink(count, recipe.rate_hz, rng)
    samples = (_PEAK / np.max(np.abs(mix)) * mix).astype(np.float32)
    truth = Truth(
        rate_hz=recipe.rate_hz, events=tuple(events), chanter_cycles=cycles, drone_cycles=drone_cycles
    )
    return Recording(samples=samples, rate_hz=recipe.rate_hz, origin=f"synth, seed {recipe.seed}"), truth


def _score(recipe: Recipe, rng: np.random.Generator) -> tuple[list[Event], list[float]]:
    """Events in time order and the frequency each holds (Hz; a pause holds the note before it)."""
    offsets = {plan.note: plan.offset_cents for plan in recipe.notes}
    now, events, holds = recipe.lead_s, [], []
    if recipe.lead_s > 0:
        events.append(Event(note=None, start_s=0.0, end_s=recipe.lead_s))
        holds.append(_note_hz(recipe, recipe.notes[0].note, recipe.notes[0].offset_cents))
    for index, plan in enumerate(recipe.notes):
        steps = [(plan.note, plan.duration_s, plan.offset_cents, False)]
        if recipe.graces and index:
            grace = str(rng.choice([name for name in _GRACE_NOTES if name != plan.note]))
            steps.insert(0, (grace, float(rng.uniform(*_GRACE_S)), offsets.get(grace, 0.0), True))
        for note, duration, offset, is_grace in steps:
            events.append(Event(note=note, start_s=now, end_s=now + duration, grace=is_grace))
            holds.append(_note_hz(recipe, note, offset))
            now += duration
        if recipe.pause_s > 0:
            events.append(Event(note=None, start_s=now, end_s=now + recipe.pause_s))
            holds.append(holds[-1])
            now += recipe.pause_s
    return events, holds


def _note_hz(recipe: Recipe, note: str, offset_cents: float) -> float:
    return recipe.low_a_hz * recipe.scale.ratios[note] * cents_to_hz(offset_cents, 1.0)


def _chanter(
    recipe: Recipe, events: list[Event], holds: list[float], count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    rate = recipe.rate_hz
    edges = [round(event.start_s * rate) for event in events] + [count]
    lengths = np.diff(edges)
    sounding = np.array([event.note is not None for event in events], dtype=float)
    freq = _fingered(np.repeat(np.log(holds), lengths), rate)
    freq = np.exp(freq) * cents_to_hz(recipe.wander_cents * _wander(count, recipe, rng), 1.0)
    cycles = np.concatenate([[0.0], np.cumsum(freq)[:-1]]) / rate
    tilt = {note: _chanter_spectrum(rng) for note in NOTES}
    partials = int(min(_TOP_HZ, 0.45 * rate) / min(holds))
    signal = np.zeros(count)
    rotor = np.exp(2j * np.pi * cycles)
    phasor = np.ones(count, dtype=complex)
    for k in range(1, partials + 1):
        phasor *= rotor
        gains = [tilt[event.note][k - 1] if event.note else 0.0 for event in events]
        gains = [g * (k * hold < min(_TOP_HZ, 0.45 * rate)) for g, hold in zip(gains, holds, strict=True)]
        envelope = _fingered(np.repeat(np.array(gains) * sounding, lengths), rate)
        envelope *= 1.0 + recipe.jitter * _slow(count, rate, _JITTER_HZ, rng)
        signal += envelope * _turned(phasor, rng)
    return signal, cycles


def _chanter_spectrum(rng: np.random.Generator) -> FloatArray:
    """Amplitudes of 40 partials: a broad hump at partials 2 to 5, then about -9 dB an octave, +-3 dB."""
    k = np.arange(1, 41)
    hump = np.where(k == 1, -3.0, np.where(k <= 5, 0.0, -9.0 * np.log2(k / 5)))
    return np.asarray(10 ** ((hump + rng.uniform(-3, 3, k.size)) / 20))


def _drones(
    recipe: Recipe, plan: DronePlan, count: int, rng: np.random.Generator
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """All drones with an RMS of 1 together, and the cycles of each."""
    rate = recipe.rate_hz
    pitches = {"bass": recipe.low_a_hz / 4 * cents_to_hz(plan.bass_cents, 1.0)}
    for number, offset in enumerate(plan.tenor_cents, start=1):
        pitches[f"tenor {number}"] = recipe.low_a_hz / 2 * cents_to_hz(offset, 1.0)
    onset = _fingered((np.arange(count) >= plan.start_s * rate).astype(float), rate)
    signal = np.zeros(count)
    cycles: dict[str, FloatArray] = {}
    for name, pitch in pitches.items():
        freq = pitch * cents_to_hz(plan.wander_cents * _wander(count, recipe, rng), 1.0)
        cycles[name] = np.concatenate([[0.0], np.cumsum(freq)[:-1]]) / rate
        top = int(min(_TOP_HZ, 0.45 * rate) / pitch)
        k = np.arange(1, top + 1)
        fall = -6.0 * np.log2(k) * (0.7 if name == "bass" else 1.0) + rng.uniform(-4, 4, top)
        rotor = np.exp(2j * np.pi * cycles[name])
        phasor = np.ones(count, dtype=complex)
        for gain in 10 ** (fall / 20):
            phasor *= rotor
            envelope = gain * (1.0 + recipe.jitter * _slow(count, rate, _JITTER_HZ, rng))
            signal += envelope * _turned(phasor, rng)
    return onset * signal / np.sqrt(np.mean(signal**2)), cycles


def _turned(phasor: ComplexArray, rng: np.random.Generator) -> FloatArray:
    """The partial of that phasor at a random phase."""
    angle = rng.uniform(0, 2 * np.pi)
    return np.asarray(np.cos(angle) * phasor.real - np.sin(angle) * phasor.imag)


def _room(recipe: Recipe, rng: np.random.Generator) -> Callable[[FloatArray], FloatArray]:
    """A function that adds a room to a signal; each call is another place in the same room."""
    if recipe.rt60_s is None:
        return lambda signal: signal
    length = round(1.2 * recipe.rt60_s * recipe.rate_hz)
    decay = 10 ** (-3.0 * np.arange(length) / (recipe.rt60_s * recipe.rate_hz))

    def place(signal: FloatArray) -> FloatArray:
        tail = rng.standard_normal(length) * decay
        tail *= 10 ** (-recipe.direct_db / 20) / np.sqrt(np.sum(tail**2))
        tail[0] += 1.0
        size = _fast_size(len(signal) + length)
        spectrum = np.fft.rfft(signal, size) * np.fft.rfft(tail, size)
        return np.asarray(np.fft.irfft(spectrum, size)[: len(signal)])

    return place


def _sounding(recipe: Recipe, events: list[Event]) -> int:
    return round(recipe.rate_hz * sum(event.end_s - event.start_s for event in events if event.note))


def _wander(count: int, recipe: Recipe, rng: np.random.Generator) -> FloatArray:
    """A slow Gaussian wander of RMS 1: sines spread about `wander_hz` with random phases."""
    time = np.arange(count) / recipe.rate_hz
    rates = np.abs(rng.normal(recipe.wander_hz, 0.3 * recipe.wander_hz, 12))
    gains, phases = rng.standard_normal(12), rng.uniform(0, 2 * np.pi, 12)
    gains *= np.sqrt(2.0 / np.sum(gains**2))
    step = max(1, round(recipe.rate_hz / 200))
    coarse = time[::step]
    wave = sum(g * np.cos(2 * np.pi * r * coarse + p) for g, r, p in zip(gains, rates, phases, strict=True))
    return np.asarray(np.interp(time, coarse, np.asarray(wave)))


def _slow(count: int, rate_hz: float, band_hz: float, rng: np.random.Generator) -> FloatArray:
    """Noise of RMS 1 below about `band_hz`, by linear interpolation between random knots."""
    knots = rng.standard_normal(int(count / rate_hz * 2 * band_hz) + 3)
    position = np.arange(count) * (2 * band_hz / rate_hz)
    return np.asarray(np.interp(position, np.arange(knots.size), knots) * np.sqrt(1.5))


def _pink(count: int, rate_hz: float, rng: np.random.Generator) -> FloatArray:
    """1/f noise above 50 Hz with an RMS of 1."""
    size = _fast_size(count)
    freq = np.fft.rfftfreq(size, 1 / rate_hz)
    shape = np.where(freq < 50.0, 0.0, 1 / np.sqrt(np.maximum(freq, 50.0)))
    noise = np.fft.irfft(shape * np.fft.rfft(rng.standard_normal(size)), size)[:count]
    return np.asarray(noise / np.sqrt(np.mean(noise**2)))


def _fingered(steps: FloatArray, rate_hz: float) -> FloatArray:
    """A stepwise course smoothed over the few milliseconds that fingers take."""
    width = max(1, round(_FINGER_S * rate_hz))
    padded = np.concatenate([np.full(width, steps[0]), steps, np.full(width, steps[-1])])
    total = np.cumsum(padded)
    start = width - width // 2
    smooth = (total[width:] - total[:-width]) / width
    return np.asarray(smooth[start - 1 : start - 1 + len(steps)])


def _mean_hz(cycles: FloatArray, rate_hz: float, start_s: float, end_s: float) -> float:
    ends = np.interp(np.array([start_s, end_s]) * rate_hz, np.arange(len(cycles)), cycles)
    return float((ends[1] - ends[0]) / (end_s - start_s))


def _fast_size(count: int) -> int:
    """The next size with small prime factors, for which the FFT is quick."""
    power = 1 << (count - 1).bit_length()
    return min(size for size in (power, power // 8 * 5, power // 4 * 3, power // 16 * 15) if size >= count)
