"""How a pipe's partials move: all with its level, each by itself in level and phase.

Guarded by `tests/analytic/test_pipe_behaviour.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.sound.synth.playing.courses import at, creep, waver

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.synth.behaviour import SourceBehaviour
    from canebench.sound.synth.playing.bag import Bag

#: Blowing brightens a pipe: partials above the fourth swing more than its level does, those below less.
_EVEN: Final = 4.0
_BRIGHTEST: Final = 2.0
#: SD of the fundamental's own level as a share of the pipe's range; it grows with the partial.
_OWN_SHARE: Final = 0.1
_OWN_GROWTH: Final = 0.7
#: What disturbs all partials alike turns a weak one further; up to so far.
_WEAK: Final = 0.35
_WEAKEST: Final = 2.5


def gains(
    source: SourceBehaviour, bag: Bag, time_s: FloatArray, *, partials: int, rng: np.random.Generator
) -> FloatArray:
    """Factor of each partial's amplitude (rows) at each time (columns)."""
    k = np.arange(1, partials + 1)[:, None]
    swing_db = source.level_db * np.minimum(np.sqrt(k / _EVEN), _BRIGHTEST) * at(bag.level(rng), time_s)
    own = np.array([at(course, time_s) for course in waver(bag.duration_s, rng, rows=partials)])
    own_db = source.level_db * _OWN_SHARE * k**_OWN_GROWTH * own
    return np.asarray(10 ** ((swing_db + own_db + bag.fade_db(time_s)) / 20))


def turns(
    source: SourceBehaviour, bag: Bag, time_s: FloatArray, *, partials: int, rng: np.random.Generator
) -> FloatArray:
    """Phase in radians by which each partial, if it is strong, has crept from the pipe's own phase."""
    courses = creep(bag.duration_s, rng, rows=partials)
    return source.creep_rad * np.array([at(course, time_s) for course in courses])


def creep_weights(amplitudes: FloatArray) -> FloatArray:
    """How much further than a strong partial each creeps, from their amplitudes (last axis)."""
    strongest = np.max(amplitudes, axis=-1, keepdims=True)
    floor = np.maximum(amplitudes, 1e-9)
    return np.asarray(np.clip((strongest / floor) ** _WEAK, 1.0, _WEAKEST))
