"""The drones of a section: bass and tenors, each followed in phase and level while it sounds.

The bass is told by its odd partials, which it shares with nobody. Tenors that hold still are lines of a
spectrum as long as the run (`tenor_lines`); tenors that waver, each for itself, are followed through windows
of a second (`tenor_pair`); whichever leaves less of them is fitted jointly with the bass, with amplitudes
that may change. Guarded by `tests/analytic/test_drones.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.units import hz_to_cents
from canebench.sound.analysis.drones.drone_detection import bass_near, tenor_near
from canebench.sound.analysis.drones.tenor_lines import read_along, tenor_lines
from canebench.sound.analysis.drones.tenor_pair import tenor_pair
from canebench.sound.analysis.readings import DroneReading
from canebench.sound.dsp.harmonic_source import (
    HarmonicSource,
    filled,
    integral,
    partial_numbers,
    taken_from,
)
from canebench.sound.dsp.joint_fit import Fit, fit_step, fit_until_still
from canebench.sound.dsp.phase_tracking import follow
from canebench.sound.dsp.stft import amplitudes
from canebench.sound.dsp.uncertainty import mean_sd_hz

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray, IntArray
    from canebench.sound.analysis.readings import DroneName
    from canebench.sound.dsp.decimation import Section
    from canebench.sound.dsp.stft import Frames

#: How far a drone strays from its mean pitch (RMS), Hz of the fundamental (2.5 cents of a tenor).
STRAY_HZ = 0.35
_FIRST_PARTIALS = 8
_LEAST_RUN_S = 1.5
#: A bass that strays this much (ratio; 0.7 cent RMS) may have the tenors waver with it.
_WAVER = 4e-4
_TURNS = 4
#: Partials of the tenors, fitted one set after the other: a high partial k alone would fit as well 1/k of a
#: cycle away, and hold there.
_STAGES = (4, 10, 20)
#: Drones of which no more than this share of energy is left hold still, and are followed to so many partials.
_STILL_LEFT, _MOST_PARTIALS = 5e-3, 40
#: Of tenors that were followed well no more than this share of energy is left.
_LITTLE_LEFT = 0.01
#: A tenor of which this share of energy is left over is not told apart from another; it may be so far off.
_MOST_LEFT, _TANGLED_HZ = 0.3, 0.1
#: A tenor has at least this share of the bass's amplitude at the same place, a second of the first's.
_LEAST_TENOR, _LEAST_SECOND = 0.1, 0.2
#: Energy of a drone's odd partials over that of its even ones, at least (a chanter 20 dB up may be in these).
_LEAST_ODD = 1e-3
#: Power of its first partial over that of its strongest, at least (a telephone passes little of a bass).
_LEAST_ROOT = 1e-7
#: A drone sounds where its odd partials are within this many decades of power of their usual level.
_QUIET = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DroneRun:
    """Drones over one uninterrupted run of frames.

    `fit` is on every second frame (a drone is steady); `sources` are the same drones on all frames.
    """

    names: tuple[DroneName, ...]
    fit: Fit
    sources: tuple[HarmonicSource, ...]

    def readings(self, frames: Frames) -> tuple[DroneReading, ...]:
        """The mean pitch of each drone over the run; `frames` are all frames of the section."""
        rows = self.sources[0].rows
        span = float(frames.times_s[rows[0]]), float(frames.times_s[rows[-1]])
        found = []
        for index, (name, source) in enumerate(zip(self.names, self.sources, strict=True)):
            hz = float(source.cycles[-1] - source.cycles[0]) / (span[1] - span[0])
            sd_hz = mean_sd_hz(self.fit, index, 2 * frames.hop_s)
            apart = name == "bass" or _left(self.fit, index) < _MOST_LEFT
            found.append(
                DroneReading(
                    drone=name,
                    hz=hz,
                    sd_hz=sd_hz if apart else float(np.hypot(sd_hz, _TANGLED_HZ)),
                    spread_cents=float(np.std(hz_to_cents(source.freq_hz, hz))),
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
    return [run for run in found if run.names and _has_odd(run.sources[0])]


def _left(fit: Fit, index: int) -> float:
    """Share of a drone's energy that the model leaves in its first partials in most frames."""
    left = np.median(np.abs(fit.residuals[index][:, :_FIRST_PARTIALS]), axis=0)
    return float(np.sum(left**2) / np.sum(fit.sources[index].power[:_FIRST_PARTIALS]))


def _has_odd(source: HarmonicSource) -> bool:
    """Whether its odd partials are worth a pipe's, the first among them.

    A note an octave up with faint lines between has none; notes of a scale may share a root that none plays.
    """
    # What keeps its phase, not what comes and goes: noise at a place where no partial is.
    power = np.abs(np.mean(source.amplitude, axis=0))[: 2 * _FIRST_PARTIALS] ** 2
    return bool(power[::2].sum() > _LEAST_ODD * power[1::2].sum() and power[0] > _LEAST_ROOT * np.max(power))


def refitted(chanterless: Frames, run: DroneRun) -> DroneRun:
    """The run fitted anew on frames without the chanter."""
    thin = chanterless.thinned()
    fit = fit_until_still(thin, run.fit, spread_hz=STRAY_HZ, most=_TURNS)
    return _dressed(thin, run.names, fit)


def _dressed(thin: Frames, names: tuple[DroneName, ...], fit: Fit) -> DroneRun:
    rows = np.arange(2 * fit.sources[0].rows[0], 2 * fit.sources[0].rows[-1] + 1)
    return DroneRun(
        names=names, fit=fit, sources=tuple(filled(source, rows, thin.hop_s) for source in fit.sources)
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
    basses = [_bass(frames, base_hz, rows)] if with_bass else []
    rest = taken_from(frames, basses)
    warp, lines = _lines(rest, basses, base_hz, rows)
    still = [*basses, *_still_tenors(rest, warp, lines, rows)]
    fit, whole = _risen(frames, _started(frames, still), still, _STAGES[1:-1]), still
    # Tenors that hold still leave nothing; where much is left, each may waver for itself.
    if any(_left(fit, index) > _LITTLE_LEFT for index in range(len(basses), len(still))):
        wavering = [*basses, *_wavering_tenors(frames, rest, basses, lines[0] * warp, rows)]
        if len(wavering) > len(basses):
            other = _risen(frames, _started(frames, wavering), wavering, _STAGES[1:-1])
            if _unexplained(other, len(basses)) < _unexplained(fit, len(basses)):
                fit, whole = other, wavering
    fit = _risen(frames, fit, whole, _STAGES[-1:])
    if all(_left(fit, index) < _STILL_LEFT for index in range(len(whole))):
        fit = _risen(frames, fit, whole, (_MOST_PARTIALS,))
    fit = _sounding(frames, fit, basses=len(basses))
    names: list[DroneName] = ["tenor"] * len(fit.sources)
    names[: len(basses)] = ["bass"] * len(basses)
    return _dressed(frames, tuple(names), fit)


def _lines(
    rest: Frames, basses: list[HarmonicSource], base_hz: float, rows: IntArray
) -> tuple[FloatArray, list[float]]:
    """The two strongest lines where tenors may be, on a course that is still or the bass's."""
    warps: list[FloatArray] = [np.ones(len(rows))]
    centre_hz = base_hz
    if basses:
        centre_hz = 2 * float(np.mean(basses[0].freq_hz))
        if np.std(basses[0].freq_hz) > _WAVER * base_hz:
            warps.append(basses[0].freq_hz * 2 / centre_hz)
    tries = [(*tenor_lines(rest, centre_hz, rows, warp), warp) for warp in warps]
    _, lines, warp = max(tries, key=lambda one: one[0])
    return warp, lines


def _still_tenors(
    rest: Frames, warp: FloatArray, lines: Sequence[float], rows: IntArray
) -> list[HarmonicSource]:
    """Two tenors on these lines, sharper first."""
    time = integral(warp, rest.hop_s)
    return [_source(rest, hz * warp, hz * time, rows) for hz in sorted(lines, reverse=True)]


def _wavering_tenors(
    frames: Frames, rest: Frames, basses: list[HarmonicSource], centre_hz: FloatArray, rows: IntArray
) -> list[HarmonicSource]:
    """Two tenors about a course, each followed for itself; none where the run is too short."""
    pair = tenor_pair(frames, centre_hz, rows, 2 * basses[0].freq_hz if basses else None)
    if pair is None:
        return []
    every = np.arange(len(rows))
    return [
        _source(rest, np.interp(every, pair.frames, freq), _phase(every, pair.frames, cycles), rows)
        for freq, cycles in zip(pair.freq_hz, pair.cycles, strict=True)
    ]


def _phase(every: IntArray, at: FloatArray, cycles: FloatArray) -> FloatArray:
    """A phase known at some frames, at every one; beyond the ends it goes on at its pitch there."""
    found = np.interp(every, at, cycles)
    head, tail = every < at[0], every > at[-1]
    found[head] = cycles[0] + (every[head] - at[0]) * (cycles[1] - cycles[0]) / (at[1] - at[0])
    found[tail] = cycles[-1] + (every[tail] - at[-1]) * (cycles[-1] - cycles[-2]) / (at[-1] - at[-2])
    return found


def _unexplained(fit: Fit, basses: int) -> float:
    """How much of the tenors' partials is left in most frames, in nepers: fits are compared by it."""
    left = [np.median(np.abs(residual) ** 2, axis=0) for residual in fit.residuals[basses:]]
    return float(sum(np.sum(np.log(part + 1e-18)) for part in left))


def _sounding(frames: Frames, fit: Fit, *, basses: int) -> Fit:
    """The fit with only those tenors that are there: strong beside the bass, and beside each other.

    A low quantile over the partials is compared, since a chanter in tune may stand in some of them.
    """
    first = [np.sqrt(source.power[:_FIRST_PARTIALS]) for source in fit.sources[basses:]]
    loudest = int(np.argmax([level.sum() for level in first]))
    kept = [
        source
        for source, level in zip(fit.sources[basses:], first, strict=True)
        if np.quantile(level / first[loudest], 0.3) > _LEAST_SECOND
    ]
    if basses:
        bass = np.sqrt(fit.sources[0].power[1 : 2 * _FIRST_PARTIALS : 2])
        if np.quantile(first[loudest] / bass, 0.3) < _LEAST_TENOR:
            kept = []
    if len(kept) == len(first):
        return fit
    return _fitted(frames, [*fit.sources[:basses], *kept], most=_TURNS)


def _fitted(frames: Frames, sources: Sequence[HarmonicSource], *, most: int) -> Fit:
    """Amplitudes first, then phases and amplitudes until they stand still."""
    fit = fit_step(frames, sources, spread_hz=STRAY_HZ, phases=False)
    return fit_until_still(frames, fit, spread_hz=STRAY_HZ, most=most)


def _started(frames: Frames, whole: Sequence[HarmonicSource]) -> Fit:
    """All drones fitted by the first few of their partials."""
    return _fitted(frames, _first(whole, _STAGES[0]), most=_TURNS)


def _risen(frames: Frames, fit: Fit, whole: Sequence[HarmonicSource], stages: Sequence[int]) -> Fit:
    """The fit with more and more of the partials that `whole` has."""
    for most in stages:
        now = [_widened(*pair) for pair in zip(fit.sources, _first(whole, most), strict=True)]
        fit = _fitted(frames, now, most=_TURNS)
    return fit


def _first(whole: Sequence[HarmonicSource], most: int) -> list[HarmonicSource]:
    """All drones with as many partials as a tenor has in its first `most`."""
    return [_cut(source, most * _times(source, whole)) for source in whole]


def _times(source: HarmonicSource, whole: Sequence[HarmonicSource]) -> int:
    """How many partials it has for each of a tenor's: the bass two."""
    return 2 if np.mean(source.freq_hz) < 0.75 * np.mean(whole[-1].freq_hz) else 1


def _cut(source: HarmonicSource, most: int) -> HarmonicSource:
    """The source with its first `most` partials."""
    return replace(source, numbers=source.numbers[:most], amplitude=source.amplitude[:, :most])


def _widened(now: HarmonicSource, first: HarmonicSource) -> HarmonicSource:
    """The source as it is now, with those partials of `first` that it has not yet."""
    known = now.amplitude.shape[1]
    more = np.broadcast_to(first.amplitude[:, known:], (len(now.amplitude), first.amplitude.shape[1] - known))
    return replace(now, numbers=first.numbers, amplitude=np.concatenate([now.amplitude, more], axis=1))


def _bass(frames: Frames, near_hz: float, rows: IntArray) -> HarmonicSource:
    """The bass drone, followed by its odd partials, with amplitudes for all of them."""
    odd = partial_numbers(near_hz, frames.top_hz, 20)[::2]
    readings = read_along(frames, near_hz, odd, rows, np.ones(len(rows)))
    step = follow(readings, odd, frames.hop_s, window=24, step=6, reach_hz=0.006 * near_hz, grid_hz=0.02)
    return _source(frames, near_hz + step, integral(near_hz + step, frames.hop_s), rows, per_tenor=2)


def _source(
    frames: Frames, freq_hz: FloatArray, cycles: FloatArray, rows: IntArray, *, per_tenor: int = 1
) -> HarmonicSource:
    """A drone on that course with a first guess of its amplitudes."""
    numbers = partial_numbers(float(np.mean(freq_hz)), frames.top_hz, per_tenor * _MOST_PARTIALS)
    silent = HarmonicSource(
        rows=rows,
        numbers=numbers,
        freq_hz=freq_hz,
        cycles=cycles,
        amplitude=np.zeros((1, len(numbers)), complex),
    )
    read = silent.lobes(frames).read(frames) * silent.rotation.conj()
    # The median of each part is proof against notes that cross the partial for less than half the time.
    amplitude = np.median(read.real, axis=0) + 1j * np.median(read.imag, axis=0)
    return replace(silent, amplitude=amplitude[None, :])
