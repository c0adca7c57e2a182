"""Held notes: the steady parts of the contour's stretches, their mean pitch and how sure that is.

Guarded by `tests/analytic/test_measure.py` and `tests/analytic/test_phase_advance.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.units import hz_to_cents
from canebench.sound.analysis.notes.pitch_contour import expected_hz
from canebench.sound.dsp.harmonic_source import HarmonicSource
from canebench.sound.dsp.phase_advance import Stretches, advance_of
from canebench.sound.dsp.uncertainty import note_variance, sd_hz_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from canebench.base.arrays import BoolArray, FloatArray, IntArray
    from canebench.sound.analysis.notes.pitch_contour import PitchContour, Stretch
    from canebench.sound.dsp.phase_advance import Advance
    from canebench.sound.dsp.stft import Frames

#: The attack and what the room still carries of the note before; the release; what a short note keeps.
_ATTACK_S, _RELEASE_S, _EDGE_S = 0.17, 0.15, 0.045
#: A note's steady part is at least so long, s, and of a short note at least this much is kept.
LEAST_HOLD_S: Final = 0.08
_LEAST_KEPT_S: Final = 0.17
#: Share of its usual amplitude below which a note has ended, and below which an end is cut.
_LEAST_PRESENT, _FULL_PRESENT = 0.3, 0.6
#: A dip to less than this share of what is so many frames before and after is another note's.
_NOTCH, _NOTCH_FRAMES = 0.56, 4
#: Mean square of the phase (radians) by which partials disagree where a note is no longer the one held.
_MOST_STRAY = 1.0


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
    """A steady part of one note: what it says, and the source that was followed through it."""

    held: Held
    source: HarmonicSource


def holds_in(
    rest: Frames,
    contour: PitchContour,
    stretches: Sequence[Stretch],
    background: Callable[[FloatArray], FloatArray],
    *,
    tail_share: float = 0.0,
) -> list[list[Hold]]:
    """The steady parts of each stretch; more than one where another note came between.

    `tail_share` is what the room carries on of a note (`analysis.notes.room`).
    """
    rows = [_steady_rows(stretch, rest.hop_s) for stretch in stretches]
    least = _frames(LEAST_HOLD_S, rest.hop_s)
    kept = [index for index, own in enumerate(rows) if len(own) >= least]
    found: list[list[Hold]] = [[] for _ in stretches]
    if not kept:
        return found
    joined = Stretches(
        rows=np.concatenate([rows[index] for index in kept]),
        starts=np.concatenate([[0], np.cumsum([len(rows[index]) for index in kept])[:-1]]).astype(np.intp),
        freq_hz=np.concatenate([expected_hz(contour, stretches[index], rows[index]) for index in kept]),
    )
    advance = advance_of(rest, joined, background)
    ends = [*joined.starts[1:], len(joined.rows)]
    for place, (index, start, end) in enumerate(zip(kept, joined.starts, ends, strict=True)):
        whole = slice(int(start), int(end))
        for part in _agreeing(advance, whole, place, least):
            found[index].append(_hold(rest, joined.rows, advance, part, place, tail_share))
    return found


def _frames(length_s: float, hop_s: float) -> int:
    return max(3, round(length_s / hop_s))


def _steady_rows(stretch: Stretch, hop_s: float) -> IntArray:
    """Its frames less attack and release; a short note gives up less, but always half a window."""
    rows = np.arange(stretch.first, stretch.last + 1)
    edge, kept = _frames(_EDGE_S, hop_s) - 1, _frames(_LEAST_KEPT_S, hop_s)
    spare = max(0, len(rows) - 2 * edge - kept)
    lead = edge + min(round(_ATTACK_S / hop_s) - edge, spare * 2 // 3)
    tail = edge + min(round(_RELEASE_S / hop_s) - edge, spare // 3)
    return rows[lead : len(rows) - tail]


def _agreeing(advance: Advance, whole: slice, place: int, least: int) -> list[slice]:
    """Runs of rows in which the note sounds as in most of them, half a window off at cut ends."""
    share = advance.share[place]
    level = np.abs(advance.amplitude[whole])
    usual = np.median(level, axis=0) + 1e-30
    sound = np.exp(np.log(level / usual + 1e-6) @ share)
    number = np.arange(1, len(share) + 1)
    step = np.diff(advance.stray[whole], axis=0, append=advance.stray[whole][-1:])
    stray = (2 * np.pi * number * step) ** 2 @ share
    good = (sound > _LEAST_PRESENT) & (stray < max(_MOST_STRAY, 4 * float(np.median(stray))))
    good &= ~_notched(sound)
    return [
        slice(whole.start + first, whole.start + last + 1) for first, last in _full_runs(good, sound, least)
    ]


def _notched(sound: FloatArray) -> BoolArray:
    """Where the note gives way for a moment, as to a grace note; a room or an arm takes longer over it."""
    found = np.zeros(len(sound), dtype=bool)
    if len(sound) > 2 * _NOTCH_FRAMES:
        beside = np.minimum(sound[: -2 * _NOTCH_FRAMES], sound[2 * _NOTCH_FRAMES :])
        found[_NOTCH_FRAMES:-_NOTCH_FRAMES] = sound[_NOTCH_FRAMES:-_NOTCH_FRAMES] < _NOTCH * beside
    return found


def _full_runs(good: BoolArray, sound: FloatArray, least: int) -> list[tuple[int, int]]:
    at = np.flatnonzero(good)
    found = []
    for run in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1):
        full = run[sound[run] > _FULL_PRESENT] if len(run) else run
        if not len(full):
            continue
        first = full[0] + (2 if full[0] > 0 else 0)
        last = full[-1] - (2 if full[-1] < len(good) - 1 else 0)
        if last - first + 1 >= least:
            found.append((int(first), int(last)))
    return found


def _hold(rest: Frames, rows: IntArray, advance: Advance, part: slice, place: int, tail_share: float) -> Hold:
    own, share = rows[part], advance.share[place]
    times = rest.times_s[own]
    length_s = float(times[-1] - times[0])
    cycles, freq_hz = advance.cycles[part], advance.freq_hz[part]
    hz = float(cycles[-1] - cycles[0]) / length_s
    course = hz_to_cents(freq_hz, hz)
    amplitude = np.mean(advance.amplitude[part], axis=0)
    used = max(1, int(np.sum(np.abs(amplitude) > 0)))
    stray = advance.stray[part]
    held = Held(
        start_s=float(times[0]),
        end_s=float(times[-1]),
        hz=hz,
        sd_hz=sd_hz_of(note_variance(stray, share, freq_hz, tail_share), length_s, hz),
        drift_cents_per_s=float(np.polyfit(times - times.mean(), course, 1)[0]) if len(times) > 2 else 0.0,
        spread_cents=float(np.std(course)),
        level_db=float(
            10 * np.log10(np.sum(np.mean(np.abs(advance.amplitude[part]) ** 2, axis=0)) / 2 + 1e-20)
        ),
    )
    source = HarmonicSource(
        rows=own,
        numbers=np.arange(1, used + 1),
        freq_hz=freq_hz,
        cycles=cycles,
        amplitude=amplitude[None, :used],
    )
    return Hold(held=held, source=source)
