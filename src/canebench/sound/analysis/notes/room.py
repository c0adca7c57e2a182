"""How much of a note the room still carries when it has ended.

Guarded by `tests/analytic/test_room.py`.
"""

from __future__ import annotations

from itertools import zip_longest
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.units import hz_to_cents
from canebench.sound.analysis.notes.pitch_contour import COMB_TOP_HZ
from canebench.sound.dsp.stft import amplitudes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray, IntArray
    from canebench.sound.analysis.notes.interference import Surroundings
    from canebench.sound.analysis.notes.pitch_contour import Stretch
    from canebench.sound.dsp.stft import Frames

#: Frames after a note's last that are read: from 0.13 to 0.2 s, when no window reaches back into it; and as
#: many before its end.
_AFTER: Final = (6, 10)
_BEFORE_FRAMES, _EDGE_FRAMES = 20, 3
_PARTIALS = 12
#: Partials this near one of the next note's are its, and a note this near is the same.
_CLEAR_HZ, _SAME_CENTS = 50.0, 40.0
_LEAST_PARTIALS, _LEAST_NOTES = 3, 3
#: So many times what always stands there is no tail.
_USUAL = 1.5


def tail_share(rest: Frames, stretches: Sequence[Stretch], surroundings: Surroundings) -> float:
    """Power that is left 0.17 s after a note's end, of what it had [0 to 1]: the lower quartile of the notes.

    0 where fewer than three notes tell.
    """
    shares = [
        share
        for own, after in zip_longest(stretches, stretches[1:])
        if (share := _share_of(rest, own, after, surroundings)) is not None
    ]
    return float(np.quantile(shares, 0.25)) if len(shares) >= _LEAST_NOTES else 0.0


def _share_of(rest: Frames, own: Stretch, after: Stretch | None, surroundings: Surroundings) -> float | None:
    tail = np.arange(own.last + _AFTER[0], min(own.last + _AFTER[1], rest.count))
    inside = np.arange(own.first + _EDGE_FRAMES, own.last + 1 - _EDGE_FRAMES)[-_BEFORE_FRAMES:]
    places = own.freq_hz * np.arange(1, _PARTIALS + 1)
    places = places[places < min(COMB_TOP_HZ, rest.top_hz)]
    if after is not None:
        if abs(hz_to_cents(after.freq_hz, own.freq_hz)) < _SAME_CENTS:
            return None
        places = places[np.abs(places - after.freq_hz * np.rint(places / after.freq_hz)) > _CLEAR_HZ]
    always = surroundings.elsewhere(own.freq_hz, places) if len(places) >= _LEAST_PARTIALS else None
    if always is None or not len(tail) or not len(inside):
        return None
    left = np.maximum(0.0, _power(rest, places, tail) - _USUAL * always)
    return float(min(1.0, np.sum(left) / (np.sum(_power(rest, places, inside)) + 1e-30)))


def _power(rest: Frames, places_hz: FloatArray, rows: IntArray) -> FloatArray:
    read = amplitudes(rest, np.broadcast_to(places_hz, (len(rows), len(places_hz))), rows)
    return np.asarray(np.mean(read.real**2 + read.imag**2, axis=0))
