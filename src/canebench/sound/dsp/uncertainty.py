"""How sure a mean frequency is: from how the partials of one voice disagree.

The mean over a span T is the phase gained between its ends over 2 pi T. Partial k tells the
fundamental's phase as psi_k / k with weight g_k = k^2 |a_k|^2 w_k. Room, noise, drones and wander disturb
the partials independently, so their disagreement is the error of their weighted mean. Two parts add:

- as it fell: with h the row of the spline's hat matrix that takes the two ends' difference and s_k the
  share of partial k, q_k = sum_t h_t g_k psi_kt / k, var = sum q_k^2 / (1 - s_k), the
  estimate that allows for a leading partial (MacKinnon & White 1985, HC2);
- as it might have fallen: while the pitch wanders, a room turns each partial's phase at random, and
  the ends are two draws of it: 2 sum s_k^2 / (1 - s_k) var_t(psi_k / k).

Both are raised by what the splines took out of the residual, which matters in short notes.

Guarded by `tests/analytic/test_uncertainty.py` and the coverage column of `benchmarks/pitch.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from canebench.base.units import CENTS_PER_OCTAVE
from canebench.sound.dsp.joint_fit import KNOT_S, Fit
from canebench.sound.dsp.splines import spline_basis

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

#: Frames over which a phase error counts as one draw (0.1 s).
_DRAW_FRAMES = 5
#: Weight of the second part; the draws of two neighbouring partials are not wholly independent.
_DRAW_FACTOR = 1.05
#: Frames this far apart are independent (half a window); the least share of freedom that is believed.
_FRAMES_APART, _LEAST_FREE = 2, 0.2
_MOST_SHARE = 0.8
#: A span of this length is as unsure again by what the room still carries of the note before (found on
#: synthetic takes of 0.5 to 2 s).
_SHORT_S = 0.6
#: What arithmetic and windows cost, found on clean tones.
_FLOOR_CENTS = 2e-4


class Doubt(NamedTuple):
    """Of a mean frequency, Hz: what the residual's phases still add to it, and its standard uncertainty."""

    step_hz: float
    sd_hz: float


def mean_doubt(fit: Fit, index: int, hop_s: float) -> Doubt:
    """How sure the mean frequency of voice `index` over its frames is.

    The step is one more of the fit's, without its stiffness against wander.
    """
    voice, residual = fit.voices[index], fit.residuals[index]
    power = np.abs(voice.amplitude) ** 2 + 1e-30
    psi = (residual * (voice.rotation * voice.amplitude).conj()).imag / power
    gain = voice.numbers**2 * power * np.mean(fit.weights[index], axis=0)
    share = gain / gain.sum()
    lever = share / np.sqrt(1 - np.minimum(share, _MOST_SHARE)) / voice.numbers
    basis = spline_basis(len(psi), hop_s, KNOT_S)
    ends = (basis[-1] - basis[0]) @ np.linalg.pinv(basis) @ psi
    left = float(np.sum(share / voice.numbers * ends))
    draws = np.mean(_smooth(psi, _DRAW_FRAMES) ** 2, axis=0)
    variance = np.sum((lever * ends) ** 2) + 2 * _DRAW_FACTOR**2 * np.sum(lever**2 * draws)
    length_s = max(len(psi) - 1, 1) * hop_s
    variance *= _fitted_away(*basis.shape) * (1 + (_SHORT_S / length_s) ** 2)
    floor_hz = float(np.mean(voice.freq_hz)) * np.log(2) / CENTS_PER_OCTAVE * _FLOOR_CENTS
    sd_hz = float(np.hypot(np.sqrt(variance) / (2 * np.pi * length_s), floor_hz))
    return Doubt(step_hz=left / (2 * np.pi * length_s), sd_hz=sd_hz)


def _fitted_away(frames: int, splines: int) -> float:
    """What the fit took out of the residual's variance: n / (n - p), n the frames that do not overlap."""
    free = frames / _FRAMES_APART
    return free / max(free - splines, _LEAST_FREE * free)


def _smooth(psi: FloatArray, width: int) -> FloatArray:
    width = min(width, len(psi))
    total = np.cumsum(np.pad(psi, ((1, 0), (0, 0))), axis=0)
    return np.asarray((total[width:] - total[:-width]) / width)
