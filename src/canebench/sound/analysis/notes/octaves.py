"""Which octave a stretch is in: whether the odd partials of the lower one sound.

A comb of partials at f fits a note at 2 f as well, where drones stand at the odd places, and a comb at 2 f
fits a note at f. What tells is how far, in decades of power, the odd partials of the lower pitch rise above
what stands there while the note does not sound, beside the even ones. Their share of the power does not
tell: a reed's fundamental may lie 20 dB below its second partial.
Guarded by `tests/analytic/test_octaves.py`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from canebench.sound.analysis.notes.pitch_contour import COMPASS_HZ, expected_hz

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.sound.analysis.notes.interference import Surroundings
    from canebench.sound.analysis.notes.pitch_contour import PitchContour, Stretch

#: On recorded reeds the odd partials of the true pitch rise at least 0.68 times as far as the even ones,
#: those of the octave below at most 0.55 times and 1.2 decades.
_ODD_SHARE, _ODD_FOR_SURE = 0.62, 1.5


def in_right_octave(
    contour: PitchContour, stretches: Sequence[Stretch], surroundings: Surroundings
) -> list[Stretch]:
    """The stretches, each an octave up or down where that is what sounds."""
    low, high = COMPASS_HZ
    found = []
    for own in stretches:
        root_hz = next((root for root in (own.freq_hz / 2, own.freq_hz) if low <= root <= high / 2), None)
        if root_hz is None:
            found.append(own)
            continue
        rows = own.inner_rows()
        freq_hz = expected_hz(contour, own, rows) * (root_hz / own.freq_hz)
        odd = surroundings.rise(rows, freq_hz, 2, own.freq_hz)
        lower = odd.share > _ODD_SHARE or odd.own > _ODD_FOR_SURE
        found.append(replace(own, freq_hz=root_hz if lower else 2 * root_hz))
    return found
