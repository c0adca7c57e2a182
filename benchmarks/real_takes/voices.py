"""Recordings brought to a pitch, each with its true course: notes, and drones as long as a take."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from real_takes.course import Course, joined
from real_takes.resampling import read_at

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from real_takes.sources import Source

RATE_HZ: Final = 44_100.0
#: A drone goes on from an earlier place of its recording by a crossfade this long.
_FADE_S: Final = 0.25
_PLACES_TRIED: Final = 40
_LONGEST_BEGINNING_S: Final = 1.2
_COMPARED_S: Final = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """A recording at another pitch, and the phase of its fundamental at every moment of it."""

    source: Source
    samples: FloatArray
    course: Course

    @property
    def duration_s(self) -> float:
        """Length as it sounds."""
        return len(self.samples) / RATE_HZ


def note_voice(source: Source, target_hz: float, duration_s: float, rng: np.random.Generator) -> Voice:
    """A random part of the recording, brought to a mean of `target_hz`; shorter where the recording is."""
    ratio = target_hz / source.hz
    take_s = min(duration_s * ratio, source.duration_s - 1 / source.rate_hz)
    start_s = float(rng.uniform(0.0, source.duration_s - take_s))
    ratio = target_hz / source.course.mean_hz(start_s, start_s + take_s)
    time_s = np.arange(int(take_s / ratio * RATE_HZ)) / RATE_HZ
    samples = read_at(source.samples, (start_s + time_s * ratio) * source.rate_hz)
    grid_s = np.arange(int(take_s / ratio / source.course.step_s) + 2) * source.course.step_s
    return Voice(source=source, samples=samples, course=source.course.read(start_s + grid_s * ratio))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """From `begins_s` of the take on, the recording sounds from its own `from_s`."""

    begins_s: float
    from_s: float


def drone_voice(
    source: Source,
    target_hz: float,
    duration_s: float,
    rng: np.random.Generator,
    *,
    glide_cents: float,
    glide_s: float,
) -> Voice:
    """The recording at a mean of `target_hz` for `duration_s`.

    Where it is too short it goes on from an earlier place, at the same phase of its fundamental and where
    its wave is most alike, over a crossfade. With a glide it begins so many cents off and comes to pitch as
    a drone that is being tuned does.
    """
    ratio = target_hz / source.hz
    pieces = _pieces(source, duration_s * ratio, rng)
    step_s = source.course.step_s
    grid_s = np.arange(int(duration_s / step_s) + 2) * step_s
    ratio *= target_hz / _joined_course(source, pieces, grid_s * ratio).mean_hz(0.0, duration_s)
    time_s = np.arange(round(duration_s * RATE_HZ)) / RATE_HZ
    place_s = _place_s(time_s, ratio, glide_cents, glide_s)
    samples = _joined_samples(source, pieces, place_s)
    course = _joined_course(source, pieces, _place_s(grid_s, ratio, glide_cents, glide_s))
    return Voice(source=source, samples=samples, course=course)


def _place_s(time_s: FloatArray, ratio: float, glide_cents: float, glide_s: float) -> FloatArray:
    """How far into the recording: the integral of a ratio that begins off by `glide_cents`."""
    if glide_cents == 0.0:
        return time_s * ratio
    falling = np.clip(1 - time_s / glide_s, 0.0, None)
    speed = ratio * np.exp2(glide_cents * falling / 1200)
    step = float(time_s[1] - time_s[0])
    return np.asarray(np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2) * step]))


def _pieces(source: Source, needed_s: float, rng: np.random.Generator) -> list[_Piece]:
    """Where in the recording to begin, and at which places of the take (in recording time) to go back."""
    usable_s, begun_s = source.duration_s - 0.05, _begun_s(source)
    first = float(rng.uniform(begun_s, max(begun_s + 0.01, min(0.4 * usable_s, usable_s - needed_s))))
    pieces = [_Piece(begins_s=0.0, from_s=first)]
    while True:
        piece = pieces[-1]
        end_s = piece.begins_s + usable_s - piece.from_s
        if end_s > needed_s + 0.5:
            return pieces
        leave_s = usable_s - _FADE_S
        pieces.append(
            _Piece(begins_s=end_s - _FADE_S, from_s=_alike_place(source, leave_s, 0.4 * usable_s, rng))
        )


def _begun_s(source: Source) -> float:
    """When the recording's own beginning is over: how a drone strikes in is no part of a take's drones."""
    return max(0.05, min(_LONGEST_BEGINNING_S, 0.1 * source.duration_s))


def _alike_place(source: Source, leave_s: float, latest_s: float, rng: np.random.Generator) -> float:
    """An earlier place to go on from, in step in the middle of the fade and there most alike in wave."""
    course = source.course
    meet_s = leave_s + _FADE_S / 2
    phase = float(course.at(np.array([meet_s]))[0])
    earliest_s = max(_FADE_S, _begun_s(source))
    first, last = course.at(np.array([earliest_s, latest_s]))
    whole = rng.integers(int(np.ceil(phase - last)), int(np.floor(phase - first)) + 1, _PLACES_TRIED)
    places = np.interp(phase - whole, course.cycles, np.arange(len(course.cycles)) * course.step_s)
    span = np.arange(round(_COMPARED_S * source.rate_hz))
    leaving = read_at(source.samples, meet_s * source.rate_hz + span)
    found = [read_at(source.samples, place * source.rate_hz + span) for place in places]
    alike = [np.dot(leaving, part) / np.linalg.norm(part) for part in found]
    return float(places[int(np.argmax(alike))]) - _FADE_S / 2


def _weights(pieces: list[_Piece], place_s: FloatArray) -> list[FloatArray]:
    """How much of each piece sounds at each place; they add to one."""
    rising = [np.clip((place_s - piece.begins_s) / _FADE_S, 0.0, 1.0) for piece in pieces[1:]]
    smooth = [np.ones(len(place_s)), *(0.5 - 0.5 * np.cos(np.pi * rise) for rise in rising)]
    after = [*smooth[1:], np.zeros(len(place_s))]
    return [own * (1 - following) for own, following in zip(smooth, after, strict=True)]


def _joined_samples(source: Source, pieces: list[_Piece], place_s: FloatArray) -> FloatArray:
    whole = np.zeros(len(place_s))
    for piece, weight in zip(pieces, _weights(pieces, place_s), strict=True):
        sounds = weight > 0
        read_s = place_s[sounds] - piece.begins_s + piece.from_s
        whole[sounds] += weight[sounds] * read_at(source.samples, read_s * source.rate_hz)
    return whole


def _joined_course(source: Source, pieces: list[_Piece], place_s: FloatArray) -> Course:
    own = [source.course.read(place_s - piece.begins_s + piece.from_s) for piece in pieces]
    return joined(own, _weights(pieces, place_s))
