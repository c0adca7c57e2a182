"""The drones of a section: bass and tenors, each followed in phase while it sounds.

The bass is told by its odd partials, which it shares with nobody; the tenors by spectra as long as the
section, in which two that are a cent apart part in their upper partials; then all are fitted jointly.
Guarded by `tests/analytic/test_drones.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.units import hz_to_cents
from canebench.sound.analysis.drone_detection import bass_near, tenor_near
from canebench.sound.analysis.readings import DroneReading
from canebench.sound.dsp.harmonic_source import Voice, filled, integral, partial_numbers, phasors, taken_from
from canebench.sound.dsp.joint_fit import Fit, fit_step, fit_until_still
from canebench.sound.dsp.phase_tracking import follow
from canebench.sound.dsp.stft import amplitudes
from canebench.sound.dsp.uncertainty import mean_doubt

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import ComplexArray, FloatArray, IntArray
    from canebench.sound.analysis.readings import DroneName
    from canebench.sound.dsp.decimation import Section
    from canebench.sound.dsp.stft import Frames

#: How far a drone strays from its mean pitch (RMS), Hz of the fundamental.
STRAY_HZ = 0.15
_LINE_PARTIALS = 8
#: How far from its place a tenor is sought (90 cents), and how far around what was found first.
_LINE_REACH_HZ, _LINE_AGAIN_HZ = 12.5, 1.0
_LEAST_RUN_S = 1.5
#: A bass that strays this much (ratio; 0.7 cent RMS) may have the tenors waver with it.
_WAVER = 4e-4
_TURNS = 8
#: Partials of the tenors, fitted one set after the other: a high partial k alone would fit as well 1/k of a
#: cycle away, and hold there.
_STAGES = (4, 10, 30)
#: A tenor of which this share of energy is left over is not told apart from another; it may be so far off.
_MOST_LEFT, _TANGLED_HZ = 0.03, 0.1
#: A tenor has at least this share of the bass's amplitude at the same place, a second of the first's.
_LEAST_TENOR, _LEAST_SECOND = 0.1, 0.2
#: Energy of a drone's odd partials over that of its even ones, at least (a chanter 20 dB up may be in these).
_LEAST_ODD = 1e-3
#: A drone sounds where its odd partials are within this many decades of power of their usual level.
_QUIET = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DroneRun:
    """Drones over one uninterrupted run of frames.

    `fit` is on every second frame (a drone is steady); `voices` are the same drones on all frames.
    """

    names: tuple[DroneName, ...]
    fit: Fit
    voices: tuple[Voice, ...]

    def readings(self, frames: Frames) -> tuple[DroneReading, ...]:
        """The mean pitch of each drone over the run; `frames` are all frames of the section."""
        rows = self.voices[0].rows
        span = float(frames.times_s[rows[0]]), float(frames.times_s[rows[-1]])
        found = []
        for index, (name, voice) in enumerate(zip(self.names, self.voices, strict=True)):
            hz = float(voice.cycles[-1] - voice.cycles[0]) / (span[1] - span[0])
            sd_hz = mean_doubt(self.fit, index, 2 * frames.hop_s).sd_hz
            apart = name == "bass" or _left(self.fit, index) < _MOST_LEFT
            found.append(
                DroneReading(
                    drone=name,
                    hz=hz,
                    sd_hz=sd_hz if apart else float(np.hypot(sd_hz, _TANGLED_HZ)),
                    spread_cents=float(np.std(hz_to_cents(voice.freq_hz, hz))),
                    spans_s=(span,),
                    separable=apart,
                )
            )
        return tuple(found)


def drone_runs(section: Section, frames: Frames) -> list[DroneRun]:
    """Every run of at least 1.5 s in which drones sound; empty where none does."""
    bass_hz = bass_near(section)
    base_hz = bass_hz if bass_hz is not None else tenor_near(section)
    if base_hz is None:
        return []
    thin = frames.thinned()
    runs = _active(thin, base_hz, step=2 if bass_hz is not None else 1)
    found = [_run(thin, base_hz, rows, with_bass=bass_hz is not None) for rows in runs]
    return [run for run in found if run.names and _has_odd(run.voices[0])]


def _left(fit: Fit, index: int) -> float:
    """Share of a drone's energy that the model leaves in its first partials in most frames."""
    left = np.median(np.abs(fit.residuals[index][:, :_LINE_PARTIALS]), axis=0)
    return float(np.sum(left**2) / np.sum(np.abs(fit.voices[index].amplitude[:_LINE_PARTIALS]) ** 2))


def _has_odd(voice: Voice) -> bool:
    """Whether its odd partials are worth a pipe's: a note an octave up with faint lines between has none."""
    power = np.abs(voice.amplitude[: 2 * _LINE_PARTIALS]) ** 2
    return bool(power[::2].sum() > _LEAST_ODD * power[1::2].sum())


def refitted(chanterless: Frames, run: DroneRun) -> DroneRun:
    """The run found and fitted anew on frames without the chanter."""
    thin, voices = chanterless.thinned(), run.fit.voices
    base_hz = float(np.mean(voices[0].freq_hz))
    return _run(thin, base_hz, voices[0].rows, with_bass=run.names[0] == "bass")


def _dressed(thin: Frames, names: tuple[DroneName, ...], fit: Fit) -> DroneRun:
    rows = np.arange(2 * fit.voices[0].rows[0], 2 * fit.voices[0].rows[-1] + 1)
    return DroneRun(
        names=names, fit=fit, voices=tuple(filled(voice, rows, thin.hop_s) for voice in fit.voices)
    )


def _active(frames: Frames, base_hz: float, *, step: int) -> list[IntArray]:
    """Runs of frames in which the comb's first partials stand near their usual level."""
    numbers = partial_numbers(base_hz, frames.top_hz, 12)[::step]
    power = np.abs(amplitudes(frames, np.tile(base_hz * numbers, (frames.count, 1)))) ** 2
    level = np.median(np.log10(power / np.quantile(power, 0.8, axis=0) + 1e-9), axis=1)
    width = min(5, frames.count) | 1
    padded = np.pad(level, width // 2, mode="edge")
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1)
    on = np.flatnonzero(smooth > -_QUIET)
    runs = np.split(on, np.flatnonzero(np.diff(on) > 1) + 1)
    edge = 2
    cut = [
        run[(edge if run[0] > 0 else 0) : len(run) - (edge if run[-1] < frames.count - 1 else 0)]
        for run in runs
        if len(run)
    ]
    return [run for run in cut if len(run) * frames.hop_s >= _LEAST_RUN_S]


def _run(frames: Frames, base_hz: float, rows: IntArray, *, with_bass: bool) -> DroneRun:
    voices: list[Voice] = []
    centre_hz, rest = base_hz, frames
    if with_bass:
        voices.append(_bass(frames, base_hz, rows))
        rest = taken_from(frames, voices)
        centre_hz = 2 * float(np.mean(voices[0].freq_hz))
    # A tenor holds still, or it wavers as the bass does (the recorder's speed, an unsteady bag).
    warps: list[FloatArray] = [np.ones(len(rows))]
    if with_bass and np.std(voices[0].freq_hz) > _WAVER * base_hz:
        warps.append(voices[0].freq_hz * 2 / centre_hz)
    tries = [(*tenor_lines(rest, centre_hz, rows, warp), warp) for warp in warps]
    _, lines, warp = max(tries, key=lambda one: one[0])
    time = integral(warp, frames.hop_s)
    tenors = [
        _voice(rest, hz * warp, hz * time, partial_numbers(hz, frames.top_hz, _STAGES[-1]), rows)
        for hz in sorted(lines, reverse=True)
    ]
    fit = _staged(frames, voices, tenors)
    fit = _sounding(frames, fit, basses=len(voices))
    names: list[DroneName] = ["tenor"] * len(fit.voices)
    names[: len(voices)] = ["bass"] * len(voices)
    return _dressed(frames, tuple(names), fit)


def _sounding(frames: Frames, fit: Fit, *, basses: int) -> Fit:
    """The fit with only those tenors that are there: strong beside the bass, and beside each other.

    A low quantile over the partials is compared, since a chanter in tune may stand in some of them.
    """
    first = [np.abs(voice.amplitude[:_LINE_PARTIALS]) for voice in fit.voices[basses:]]
    loudest = int(np.argmax([level.sum() for level in first]))
    kept = [
        voice
        for voice, level in zip(fit.voices[basses:], first, strict=True)
        if np.quantile(level / first[loudest], 0.3) > _LEAST_SECOND
    ]
    if basses:
        bass = np.abs(fit.voices[0].amplitude[1 : 2 * _LINE_PARTIALS : 2])
        if np.quantile(first[loudest] / bass, 0.3) < _LEAST_TENOR:
            kept = []
    if len(kept) == len(first):
        return fit
    return _fitted(frames, [*fit.voices[:basses], *kept], most=_TURNS)


def _fitted(frames: Frames, voices: Sequence[Voice], *, most: int) -> Fit:
    """Amplitudes first, then phases and amplitudes until they stand still."""
    fit = fit_step(frames, voices, spread_hz=STRAY_HZ, phases=False)
    return fit_until_still(frames, fit, spread_hz=STRAY_HZ, most=most)


def _staged(frames: Frames, basses: Sequence[Voice], tenors: Sequence[Voice]) -> Fit:
    """All drones fitted from their first partials up; the bass has two for each of a tenor's."""
    whole = [*basses, *tenors]
    counts = [2] * len(basses) + [1] * len(tenors)
    current = [_cut(voice, count * _STAGES[0]) for voice, count in zip(whole, counts, strict=True)]
    fit = _fitted(frames, current, most=_TURNS)
    for most in _STAGES[1:]:
        wider = [
            _widened(now, _cut(first, count * most))
            for now, first, count in zip(fit.voices, whole, counts, strict=True)
        ]
        fit = _fitted(frames, wider, most=_TURNS)
    return fit


def _cut(voice: Voice, most: int) -> Voice:
    """The voice with its first `most` partials."""
    return replace(voice, numbers=voice.numbers[:most], amplitude=voice.amplitude[:most])


def _widened(now: Voice, first: Voice) -> Voice:
    """The voice as it is now, with those partials of `first` that it has not yet."""
    amplitude = np.concatenate([now.amplitude, first.amplitude[len(now.amplitude) :]])
    return replace(now, numbers=first.numbers, amplitude=amplitude)


def _bass(frames: Frames, near_hz: float, rows: IntArray) -> Voice:
    """The bass drone, followed by its odd partials, with amplitudes for all of them."""
    numbers = partial_numbers(near_hz, frames.top_hz, 60)
    odd = numbers[::2][:10]
    readings = _read_at(frames, near_hz, odd, rows, np.ones(len(rows)))
    step = follow(readings, odd, frames.hop_s, window=24, step=6, reach_hz=0.006 * near_hz, grid_hz=0.02)
    return _voice(frames, near_hz + step, integral(near_hz + step, frames.hop_s), numbers, rows)


def _read_at(
    frames: Frames, freq_hz: float, numbers: IntArray, rows: IntArray, warp: FloatArray
) -> ComplexArray:
    """Partials of a comb on the course `freq_hz` times `warp`, demodulated."""
    read = amplitudes(frames, np.outer(freq_hz * warp, numbers), rows)
    return read * phasors(freq_hz * integral(warp, frames.hop_s), numbers).conj()


def _voice(
    frames: Frames, freq_hz: FloatArray, cycles: FloatArray, numbers: IntArray, rows: IntArray
) -> Voice:
    """A voice on that course with a first guess of its amplitudes."""
    silent = Voice(
        rows=rows, numbers=numbers, freq_hz=freq_hz, cycles=cycles, amplitude=np.zeros(len(numbers), complex)
    )
    read = silent.lobes(frames).read(frames) * silent.rotation.conj()
    # The median of each part is proof against notes that cross the partial for less than half the time.
    amplitude = np.median(read.real, axis=0) + 1j * np.median(read.imag, axis=0)
    return Voice(rows=rows, numbers=numbers, freq_hz=freq_hz, cycles=cycles, amplitude=amplitude)


def tenor_lines(
    frames: Frames, centre_hz: float, rows: IntArray, warp: FloatArray
) -> tuple[float, list[float]]:
    """Pitches of the two strongest lines near `centre_hz`, Hz, and how much the first gathers.

    From spectra as long as the run. Partials are laid over each other on the fundamental's axis: the
    sidebands of a wander fall at different places in each, the carriers at one. The lines follow `warp`
    [shape=(frames,)], a course of ratios about 1.
    """
    numbers = partial_numbers(centre_hz, frames.top_hz, _LINE_PARTIALS)
    time = integral(warp, frames.hop_s)
    found: list[float] = []
    gathered: list[float] = []
    for _ in range(2):
        near_hz = centre_hz
        # Far from the centre only the first partials are read whole: go there and look again.
        for reach_hz in (_LINE_REACH_HZ, _LINE_AGAIN_HZ):
            readings = _read_at(frames, near_hz, numbers, rows, warp)
            rest = _less(readings, [phasors((hz - near_hz) * time, numbers) for hz in found])
            nu, score = _line_score(rest, numbers, frames.hop_s, reach_hz)
            near_hz += float(nu[np.argmax(score)])
        found.append(near_hz)
        gathered.append(float(np.max(score)))
    return gathered[0], found


def _less(readings: ComplexArray, lines: Sequence[ComplexArray]) -> ComplexArray:
    """The readings without steady lines, each partial by least squares."""
    rest = readings.copy()
    if not lines:
        return rest
    for k in range(readings.shape[1]):
        columns = np.stack([line[:, k] for line in lines], axis=1)
        rest[:, k] -= columns @ np.linalg.lstsq(columns, readings[:, k], rcond=None)[0]
    return rest


def _line_score(
    readings: ComplexArray, numbers: IntArray, hop_s: float, reach_hz: float
) -> tuple[FloatArray, FloatArray]:
    """Candidate steps of the fundamental, Hz, and the amplitude they gather over all partials."""
    frames = len(readings)
    tapered = readings * np.hanning(frames + 2)[1:-1][:, None]
    size = 1 << int(np.ceil(np.log2(4 * frames)))
    level = np.abs(np.fft.fft(tapered, size, axis=0)) / np.sqrt(np.sum(np.abs(tapered) ** 2, axis=0) + 1e-30)
    width = 1 / (size * hop_s)
    nu = np.arange(-reach_hz, reach_hz, width / 4)
    score, count = np.zeros(len(nu)), np.zeros(len(nu))
    for column, number in enumerate(numbers):
        # Beyond two bins of the short window the reading no longer holds the line.
        usable = np.abs(number * nu) < 20.0
        at = (number * nu / width) % size
        score += np.where(usable, np.interp(at, np.arange(size), level[:, column], period=size), 0.0)
        count += usable
    # Between the sum, which slights a line far from the centre, and the mean, which trusts one partial.
    return nu, score / np.sqrt(count)
