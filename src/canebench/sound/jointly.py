"""Fit several voices at once: amplitudes by least squares, phases by Gauss-Newton on splines.

Partials of different voices that lie within the window's main lobe of one another form a cluster. With
e_p(t) = exp(2 pi i k phi(t)) the unit phasor of partial p, o_pq the overlap of the window's transforms,
and r_p the residual read at p, the normal equations of a cluster's amplitudes are

    sum_q [sum_t w o_pq conj(e_p) e_q] da_q = sum_t w conj(e_p) r_p,

and those of the phases follow from dr/dphi = 2 pi i k a e. Weights w are of Cauchy's form, so that
a source which is not in the model (the chanter, before it is known) disturbs only where it sounds.
Guarded by `tests/analytic/test_jointly.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.spectra import Frames, overlap
from canebench.sound.splines import slope_of, spline_basis

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import ComplexArray, FloatArray, IntArray
    from canebench.sound.voices import Voice

_MAIN_LOBE_BINS = 3.0
KNOT_S = 0.2
_STILL_CYCLES = 1e-3


@dataclass(frozen=True, slots=True)
class Member:
    """Partial `column` of voice `voice` in a cluster."""

    voice: int
    column: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Voices after a step, the residual read at their partials, the weights, and how far phases moved."""

    voices: tuple[Voice, ...]
    residuals: tuple[ComplexArray, ...]
    weights: tuple[FloatArray, ...]
    moved_cycles: float


def fit_step(frames: Frames, voices: Sequence[Voice], *, spread_hz: float, phases: bool = True) -> Fit:
    """One step on amplitudes and, with `phases`, on phases; all voices must share their rows.

    `spread_hz` is how far a voice's frequency is expected to stray from its mean (prior, RMS).
    """
    turns = [voice.rotation for voice in voices]
    places = [voice.lobes(frames) for voice in voices]
    spectrum = frames.spectrum.copy()
    for voice, place, turn in zip(voices, places, turns, strict=True):
        place.take_out(spectrum, voice.amplitude * turn)
    rest = frames.replaced(spectrum)
    residuals = [place.read(rest) for place in places]
    weights = [np.ones(residual.shape) for residual in residuals]
    fitted = [voice.amplitude.copy() for voice in voices]
    groups = _clusters(voices, frames.bin_hz)
    for members in groups:
        weight = _cauchy([residuals[p.voice][:, p.column] for p in members])
        near = _overlaps(voices, members, frames.bin_hz)
        step = _amplitude_step(members, residuals, turns, weight, near)
        for i, p in enumerate(members):
            weights[p.voice][:, p.column] = weight
            fitted[p.voice][p.column] += step[i]
            for j, q in enumerate(members):
                residuals[p.voice][:, p.column] -= near[i, j] * step[j] * turns[q.voice][:, q.column]
    found = [replace(voice, amplitude=amplitude) for voice, amplitude in zip(voices, fitted, strict=True)]
    moved = 0.0
    if phases:
        steps = _phase_step(frames, found, groups, residuals, turns, weights, spread_hz)
        found = [voice.moved(step, frames.hop_s) for voice, step in zip(found, steps, strict=True)]
        moved = float(max(np.sqrt(np.mean(step**2)) for step in steps))
    return Fit(voices=tuple(found), residuals=tuple(residuals), weights=tuple(weights), moved_cycles=moved)


def fit_until_still(frames: Frames, fit: Fit, *, spread_hz: float, most: int) -> Fit:
    """Steps until the phases stand still to a thousandth of a cycle, at most `most`."""
    for _ in range(most):
        fit = fit_step(frames, fit.voices, spread_hz=spread_hz)
        if fit.moved_cycles < _STILL_CYCLES:
            break
    return fit


def _clusters(voices: Sequence[Voice], bin_hz: float) -> list[list[Member]]:
    """Partials in order of frequency, parted where the next is beyond the main lobe."""
    members = [(v, k) for v, voice in enumerate(voices) for k in range(len(voice.numbers))]
    freq = np.array([float(np.mean(voices[v].freq_hz)) * voices[v].numbers[k] for v, k in members])
    order = np.argsort(freq)
    parts = np.split(order, np.flatnonzero(np.diff(freq[order]) > _MAIN_LOBE_BINS * bin_hz) + 1)
    return [[Member(*members[i]) for i in part] for part in parts if len(part)]


def _overlaps(voices: Sequence[Voice], members: list[Member], bin_hz: float) -> FloatArray:
    freq = np.array(
        [float(np.mean(voices[p.voice].freq_hz)) * voices[p.voice].numbers[p.column] for p in members]
    )
    return overlap((freq[:, None] - freq) / bin_hz)


def _cauchy(residuals: list[ComplexArray]) -> FloatArray:
    """Weights 1 / (s^2 + |r|^2), s the median residual of the cluster (Cauchy's, twice the variance)."""
    power = np.mean([np.abs(residual) ** 2 for residual in residuals], axis=0)
    return np.asarray(1.0 / (np.median(power) + power + 1e-18))


def _amplitude_step(
    members: list[Member],
    residuals: list[ComplexArray],
    turns: list[ComplexArray],
    weight: FloatArray,
    near: FloatArray,
) -> ComplexArray:
    columns = np.stack([turns[p.voice][:, p.column] for p in members])
    data = np.stack([residuals[p.voice][:, p.column] for p in members])
    normal = near * ((columns.conj() * weight) @ columns.T)
    right = np.sum(columns.conj() * weight * data, axis=1)
    # A trace of ridge: two tenors in unison share one amplitude between them.
    normal = normal + 1e-6 * np.trace(normal).real / len(members) * np.eye(len(members))
    return np.asarray(np.linalg.solve(normal, right))


def _phase_step(
    frames: Frames,
    voices: list[Voice],
    groups: list[list[Member]],
    residuals: list[ComplexArray],
    turns: list[ComplexArray],
    weights: list[FloatArray],
    spread_hz: float,
) -> list[FloatArray]:
    count = len(voices)
    rows = len(voices[0].rows)
    gradient = np.zeros((count, rows))
    bend = np.zeros((count, count, rows))
    for members in groups:
        near = _overlaps(voices, members, frames.bin_hz)
        tangents = [
            2j
            * np.pi
            * voices[p.voice].numbers[p.column]
            * voices[p.voice].amplitude[p.column]
            * turns[p.voice][:, p.column]
            for p in members
        ]
        for i, p in enumerate(members):
            weight = weights[p.voice][:, p.column]
            gradient[p.voice] += weight * (tangents[i].conj() * residuals[p.voice][:, p.column]).real
            for j, q in enumerate(members):
                bend[p.voice, q.voice] += weight * near[i, j] * (tangents[i].conj() * tangents[j]).real
    basis = spline_basis(rows, frames.hop_s, KNOT_S)
    slope = slope_of(basis, frames.hop_s)
    width = basis.shape[1]
    normal = np.zeros((count * width, count * width))
    right = np.zeros(count * width)
    stiffness = frames.hop_s / KNOT_S / spread_hz**2
    penalty = stiffness * slope.T @ slope
    for s, voice in enumerate(voices):
        block = slice(s * width, (s + 1) * width)
        stray = voice.freq_hz - np.mean(voice.freq_hz)
        right[block] = basis.T @ gradient[s] - stiffness * slope.T @ stray
        for other in range(count):
            normal[block, other * width : (other + 1) * width] = basis.T @ (bend[s, other][:, None] * basis)
        normal[block, block] += penalty
    normal[np.diag_indices_from(normal)] *= 1 + 1e-9
    solved = np.linalg.solve(normal, right).reshape(count, width)
    return [basis @ row for row in solved]
