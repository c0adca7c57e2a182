"""How one fingering gives way to the next: pitch, timbre and level, in a few milliseconds.

Partials come at their own rates, the high ones last; a reed that was silent takes longer. A note
begins a few cents off and settles, and a breath of noise goes with the finger. Guarded by
`tests/analytic/test_pipe_attacks.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray, IntArray
    from canebench.sound.synth.truth import Event

_FINGER_S: Final = (0.003, 0.009)
#: Time constants of the first partial; those of the others grow with the root of their number.
_RISE_S: Final = (0.002, 0.005)
_UNLIKE: Final = (0.6, 1.6)
_FROM_SILENCE: Final = 4.0
_STOP_S: Final = 0.004
#: A partial that the next note has above the highest rendered goes before the pitch has risen.
_GONE_S: Final = 0.001
#: What is left of an old state after so many time constants is nothing.
_OVER: Final = 16.0
_PUFF_S: Final = 0.008
_PUFF: Final = 6.0


def stepped(
    values: FloatArray, events: list[Event], time_s: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """A value for each event, straight from one to the next while the finger moves."""
    starts = np.array([event.start_s for event in events[1:]])
    ends = starts + rng.uniform(*_FINGER_S, starts.size)
    places = np.stack([starts, ends], axis=1).ravel()
    course = np.stack([values[:-1], values[1:]], axis=1).ravel()
    if not starts.size:
        return np.full_like(time_s, values[0])
    return np.asarray(np.interp(time_s, places, course))


def rise_times_s(targets: ComplexArray, rng: np.random.Generator) -> FloatArray:
    """Time constants of each event (row) and partial (column) for `targets` of that shape."""
    partials = targets.shape[1]
    times = rng.uniform(*_RISE_S) * np.sqrt(np.arange(1, partials + 1))
    times = times * rng.uniform(*_UNLIKE, targets.shape)
    silent = np.all(targets == 0, axis=1)
    after = np.concatenate([[True], silent[:-1]])
    times[after] *= _FROM_SILENCE
    times[targets == 0] = _GONE_S
    times[silent] = _STOP_S
    return np.asarray(times)


def approached(
    targets: ComplexArray, times_s: FloatArray, events: list[Event], time_s: FloatArray
) -> ComplexArray:
    """Courses (partials, times) that go from each event's target to the next with those time constants."""
    edges = np.searchsorted(time_s, [event.start_s for event in events] + [np.inf])
    courses = np.empty((targets.shape[1], len(time_s)), dtype=complex)
    state = np.zeros(targets.shape[1], dtype=complex)
    for index, event in enumerate(events):
        first, last = edges[index], edges[index + 1]
        courses[:, first:last] = targets[index][:, None]
        gone = (time_s[first:last] - event.start_s)[None, :] / times_s[index][:, None]
        near = int(np.sum(np.min(gone, axis=0) < _OVER))
        away = (state - targets[index])[:, None]
        courses[:, first : first + near] += away * np.exp(-gone[:, :near])
        left = np.exp(-(event.end_s - event.start_s) / times_s[index])
        state = targets[index] + left * (state - targets[index])
    return courses


def since_start(events: list[Event], time_s: FloatArray) -> tuple[IntArray, FloatArray]:
    """The event at each time, by its number, and the seconds since it began."""
    starts = np.array([event.start_s for event in events])
    number = np.searchsorted(starts, time_s, side="right") - 1
    return np.asarray(number), np.asarray(time_s - starts[number])


def puffs(since_s: FloatArray) -> FloatArray:
    """How much louder noise is when a finger has just moved."""
    return np.asarray(1.0 + _PUFF * np.exp(-since_s / _PUFF_S))
