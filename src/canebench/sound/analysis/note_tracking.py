"""One held note: its phase followed through a stretch, its mean pitch and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.units import hz_to_cents
from canebench.sound.dsp.harmonic_source import Voice, integral, partial_numbers, phasors
from canebench.sound.dsp.joint_fit import Fit, fit_step
from canebench.sound.dsp.phase_tracking import follow
from canebench.sound.dsp.stft import amplitudes
from canebench.sound.dsp.uncertainty import mean_doubt

if TYPE_CHECKING:
    from canebench.base.arrays import IntArray
    from canebench.sound.analysis.pitch_contour import Stretch
    from canebench.sound.dsp.stft import Frames

_MOST_PARTIALS = 14
#: RMS stray of a blower's pitch from the note's mean, as a ratio (4 cents).
_STRAY = 2.3e-3
#: The attack and what the room still carries of the note before; the release.
_ATTACK_S, _RELEASE_S = 0.17, 0.15
_LEAST_FRAMES = 8
#: Passes of the pursuit: window (frames), most partials, reach and grid as ratios of the pitch.
_PURSUIT = ((14, 6, 0.015, 5e-4), (7, 14, 0.005, 2.5e-4))
#: Part of a frame's energy outside the model at which the note is no longer the one held.
_MISFIT = 1.0
#: Share of its usual amplitude below which a note has ended, and below which an end is cut.
_LEAST_PRESENT, _FULL_PRESENT = 0.5, 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What a steady part of one note says.

    `hz` is the mean frequency from `start_s` to `end_s`, `sd_hz` its standard uncertainty,
    `spread_cents` the pitch's standard deviation about its mean, `level_db` re full scale.
    """

    start_s: float
    end_s: float
    hz: float
    sd_hz: float
    drift_cents_per_s: float
    spread_cents: float
    level_db: float

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """A steady part of one note: what it says, and the voice that was followed through it."""

    held: Held
    voice: Voice


def holds_in(rest: Frames, stretch: Stretch) -> list[Hold]:
    """The steady parts of one stretch of the course; more than one where another note came between."""
    lead, tail = round(_ATTACK_S / rest.hop_s), round(_RELEASE_S / rest.hop_s)
    rows = np.arange(stretch.first, stretch.last + 1)
    spare = len(rows) - _LEAST_FRAMES
    if spare < 0:
        return []
    rows = rows[min(lead, spare * 2 // 3) : len(rows) - min(tail, spare // 3)]
    fit = _fit(rest, stretch.freq_hz, rows, turns=3)
    parts = _agreeing(fit)
    if len(parts) == 1 and len(parts[0]) == len(rows):
        return [_hold(rest, _polished(rest, fit.voices[0]))]
    return [_hold(rest, _fit(rest, stretch.freq_hz, rows[part], turns=4)) for part in parts]


def held_again(rest: Frames, hold: Hold) -> Hold:
    """The same steady part on other frames, such as those without the drones as known better since."""
    return _hold(rest, _polished(rest, hold.voice))


def _fit(rest: Frames, near_hz: float, rows: IntArray, *, turns: int) -> Fit:
    """Follow the note over consecutive frames from a pitch good to 20 cents."""
    numbers = partial_numbers(near_hz, rest.top_hz, _MOST_PARTIALS)
    course = np.full(len(rows), near_hz)
    for window, most, reach, grid in _PURSUIT:
        cycles, used = integral(course, rest.hop_s), numbers[:most]
        readings = amplitudes(rest, np.outer(course, used), rows) * phasors(cycles, used).conj()
        course = course + follow(
            readings,
            used,
            rest.hop_s,
            window=window,
            step=2,
            reach_hz=reach * near_hz,
            grid_hz=grid * near_hz,
        )
    voice = Voice(
        rows=rows,
        numbers=numbers,
        freq_hz=course,
        cycles=integral(course, rest.hop_s),
        amplitude=np.zeros(len(numbers), complex),
    )
    for turn in range(turns):
        (voice,) = fit_step(rest, [voice], spread_hz=_STRAY * near_hz, phases=turn > 0).voices
    return fit_step(rest, [voice], spread_hz=_STRAY * near_hz, phases=False)


def _polished(rest: Frames, voice: Voice) -> Fit:
    (voice,) = fit_step(rest, [voice], spread_hz=_STRAY * float(np.mean(voice.freq_hz))).voices
    return fit_step(rest, [voice], spread_hz=1.0, phases=False)


def _agreeing(fit: Fit) -> list[IntArray]:
    """Runs of frames in which the note sounds as in most of its frames, less half a window at cut ends."""
    voice, residual = fit.voices[0], fit.residuals[0]
    energy = np.sum(np.abs(voice.amplitude) ** 2)
    present = 1 + np.sum((residual * (voice.rotation * voice.amplitude).conj()).real, axis=1) / energy
    misfit = np.sum(np.abs(residual) ** 2, axis=1) / energy
    sound = present / np.median(present)
    good = (sound > _LEAST_PRESENT) & (misfit < max(_MISFIT, 3 * float(np.median(misfit))))
    runs = np.split(np.flatnonzero(good), np.flatnonzero(np.diff(np.flatnonzero(good)) > 1) + 1)
    found: list[IntArray] = []
    for run in runs:
        full = np.flatnonzero(sound[run] > _FULL_PRESENT)
        if len(full) and full[-1] - full[0] >= _LEAST_FRAMES:
            lead = full[0] + (2 if run[full[0]] > 0 else 0)
            tail = full[-1] - (2 if run[full[-1]] < len(sound) - 1 else 0)
            found.append(run[lead : tail + 1])
    return found


def _hold(rest: Frames, fit: Fit) -> Hold:
    voice = fit.voices[0]
    times = rest.times_s[voice.rows]
    length = float(times[-1] - times[0])
    doubt = mean_doubt(fit, 0, rest.hop_s)
    hz = float(voice.cycles[-1] - voice.cycles[0]) / length + doubt.step_hz
    course = hz_to_cents(voice.freq_hz, hz)
    drift = float(np.polyfit(times - times.mean(), course, 1)[0]) if len(times) > 2 else 0.0
    held = Held(
        start_s=float(times[0]),
        end_s=float(times[-1]),
        hz=hz,
        sd_hz=doubt.sd_hz,
        drift_cents_per_s=drift,
        spread_cents=float(np.std(course)),
        level_db=float(10 * np.log10(np.sum(np.abs(voice.amplitude) ** 2) / 2 + 1e-20)),
    )
    return Hold(held=held, voice=voice)
