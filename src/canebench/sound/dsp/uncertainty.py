"""How sure a mean frequency is: from how the partials of one source disagree.

The mean over a span T is the phase gained between its ends over 2 pi T. Partial k tells the fundamental's
phase as psi_k / k and has the share s_k in it. Room, noise, drones, wander and the creeping of a reed's
partials disturb the partials independently, so their disagreement is the error of their weighted mean. Two
parts add:

- as it fell: with q_k what partial k gains beyond the mean, var = sum s_k^2 q_k^2 / (1 - s_k), the estimate
  that allows for a leading partial (MacKinnon & White 1985, HC2);
- as it might have fallen: while the pitch wanders, a room turns each partial's phase at random, and
  the ends are two draws of it: 2 sum s_k^2 / (1 - s_k) var_t(psi_k / k).

What all partials share does not show in their disagreement. A room and the reed's own resonances delay the
sound by some milliseconds, so that a pitch which rises through the span is heard as it was a moment before,
and a tone whose partials creep has no pitch finer than some thousandths of a cent: both are allowed for.
Factors and delay were set on takes of the real reeds at hand and of rendered ones in rooms: other takes than
the benchmarks', but not other recordings.

Guarded by `tests/analytic/test_uncertainty.py` and the coverage columns of `benchmarks/pitch.py` and
`benchmarks/real`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canebench.base.units import CENTS_PER_OCTAVE

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.dsp.joint_fit import Fit

#: Frames over which a phase error counts as one draw (0.1 s).
_DRAW_FRAMES = 5
_MOST_SHARE = 0.8
#: The partials are not wholly independent: so many times their variance.
_ALIKE = 1.3
#: How late the sound may be as a whole, s, and what a tone's phase is defined to, cycles.
_DELAY_S, _DEFINED_CYCLES = 0.013, 1e-4
#: By how much more for what the room carries on: delay, and variance (partials err together in its echoes).
_TAIL_DELAY_S, _TAIL_GAIN = 0.8, 30.0
#: What a room for practice leaves is in the other figures already.
_DRY_TAIL = 0.01
#: What arithmetic and windows cost, found on clean tones.
_FLOOR_CENTS = 2e-4


def gain_variance(stray: FloatArray, share: FloatArray) -> float:
    """Variance of the phase gained (cycles^2), from how each partial strays from their mean.

    Parameters
    ----------
    stray : float array [shape=(m, k)]
        Phase of the fundamental as each partial tells it, less their mean, cycles.
    share : float array [shape=(k,)]
        Of each partial in that mean; sums to 1.
    """
    lever = share / np.sqrt(1 - np.minimum(share, _MOST_SHARE))
    ends = stray[-1] - stray[0]
    width = min(_DRAW_FRAMES, len(stray))
    total = np.cumsum(np.pad(stray - stray.mean(axis=0), ((1, 0), (0, 0))), axis=0)
    draws = np.mean(((total[width:] - total[:-width]) / width) ** 2, axis=0)
    return _ALIKE * float(np.sum((lever * ends) ** 2) + 2 * np.sum(lever**2 * draws))


def note_variance(stray: FloatArray, share: FloatArray, freq_hz: FloatArray, tail_share: float) -> float:
    """Variance of the phase gained (cycles^2) by a note whose pitch went as `freq_hz` [shape=(m,)].

    `stray` and `share` as in `gain_variance`; `tail_share` (0 to 1) is the power that the room carries on.
    """
    width = max(1, min(_DRAW_FRAMES, len(freq_hz) // 2))
    rise_hz = float(np.mean(freq_hz[-width:]) - np.mean(freq_hz[:width]))
    tail = max(0.0, tail_share - _DRY_TAIL)
    delay_s = _DELAY_S + _TAIL_DELAY_S * tail
    own = gain_variance(stray, share) * (1 + _TAIL_GAIN * tail)
    return float(own + (delay_s * rise_hz) ** 2 + _DEFINED_CYCLES**2)


def mean_sd_hz(fit: Fit, index: int, hop_s: float) -> float:
    """Standard uncertainty of the mean frequency of source `index` of a joint fit over its frames, Hz.

    Each partial's phase is that of its amplitude as it changed, with what the fit left of it.
    """
    source, residual = fit.sources[index], fit.residuals[index]
    power = source.power + 1e-30
    amplitude = np.broadcast_to(source.amplitude, residual.shape)
    left = (residual * (source.rotation * amplitude).conj()).imag / power
    turned = np.unwrap(np.angle(amplitude), axis=0) if len(source.amplitude) > 1 else np.zeros_like(left)
    stray = (turned + left) / (2 * np.pi * source.numbers)
    gain = source.numbers**2 * power * np.mean(fit.weights[index], axis=0)
    share = gain / gain.sum()
    stray = stray - (stray @ share)[:, None]
    length_s = max(len(stray) - 1, 1) * hop_s
    return sd_hz_of(gain_variance(stray, share), length_s, float(np.mean(source.freq_hz)))


def sd_hz_of(variance_cycles2: float, length_s: float, mean_hz: float) -> float:
    """Standard uncertainty of a mean frequency, Hz, with the floor that arithmetic and windows cost."""
    floor_hz = mean_hz * np.log(2) / CENTS_PER_OCTAVE * _FLOOR_CENTS
    return float(np.hypot(np.sqrt(variance_cycles2) / length_s, floor_hz))
