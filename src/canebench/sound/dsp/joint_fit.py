"""Fit several voices at once: amplitudes by least squares, phases by Gauss-Newton on splines.

Partials of different voices that lie within the window's main lobe of one another form a cluster. With
e_p(t) = exp(2 pi i k phi(t)) the unit phasor of partial p, o_pq the overlap of the window's transforms,
y_p the reading at p and r_p = y_p - sum_q o_pq a_q e_q what the model leaves of it, the normal equations
of a cluster's amplitudes are

    sum_q [sum_t w o_pq conj(e_p) e_q] da_q = sum_t w conj(e_p) r_p,

and those of the phases follow from the tangents de/dphi = 2 pi i k a e. Weights w are of Cauchy's form,
so that a source which is not in the model (the chanter, before it is known) disturbs only where it
sounds. Guarded by `tests/analytic/test_joint_fit.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.dsp.splines import spline_basis, spline_slope
from canebench.sound.dsp.stft import Frames, overlap

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import ComplexArray, FloatArray, IntArray
    from canebench.sound.dsp.harmonic_source import Voice

_MAIN_LOBE_BINS = 3.0
KNOT_S = 0.2
_STILL_CYCLES = 3e-4
_RIDGE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Voices after a step, the residual read at their partials, the weights, and how far phases moved."""

    voices: tuple[Voice, ...]
    residuals: tuple[ComplexArray, ...]
    weights: tuple[FloatArray, ...]
    moved_cycles: float


@dataclass(frozen=True, slots=True)
class _Cluster:
    """Partials (columns of the stacked partials of all voices) near each other, and their overlaps."""

    columns: IntArray
    near: FloatArray


@dataclass(frozen=True, slots=True)
class _Stack:
    """The partials of all voices side by side: owner, number, phasors, residuals [(m, partials)]."""

    owner: IntArray
    number: FloatArray
    turn: ComplexArray
    residual: ComplexArray
    clusters: list[_Cluster]
    alone: IntArray


def fit_step(frames: Frames, voices: Sequence[Voice], *, spread_hz: float, phases: bool = True) -> Fit:
    """One step on amplitudes and, with `phases`, on phases; all voices must share their rows.

    `spread_hz` is how far a voice's frequency is expected to stray from its mean (prior, RMS).
    """
    amplitude = np.concatenate([voice.amplitude for voice in voices])
    stack = _stacked(frames, voices, amplitude)
    weight = _cauchy(stack)
    step = _amplitude_step(stack, weight)
    _leave(stack, step)
    amplitude = amplitude + step
    parts = np.cumsum([len(voice.numbers) for voice in voices])[:-1]
    found = [replace(v, amplitude=a) for v, a in zip(voices, np.split(amplitude, parts), strict=True)]
    moved = 0.0
    if phases:
        steps = _phase_step(frames, found, stack, weight, amplitude, spread_hz)
        found = [voice.moved(step, frames.hop_s) for voice, step in zip(found, steps, strict=True)]
        moved = float(max(np.sqrt(np.mean(step**2)) for step in steps))
    return Fit(
        voices=tuple(found),
        residuals=tuple(np.split(stack.residual, parts, axis=1)),
        weights=tuple(np.split(weight, parts, axis=1)),
        moved_cycles=moved,
    )


def fit_until_still(frames: Frames, fit: Fit, *, spread_hz: float, most: int) -> Fit:
    """Steps until the phases stand still to a few ten-thousandths of a cycle, at most `most`."""
    for _ in range(most):
        fit = fit_step(frames, fit.voices, spread_hz=spread_hz)
        if fit.moved_cycles < _STILL_CYCLES:
            break
    return fit


def _stacked(frames: Frames, voices: Sequence[Voice], amplitude: ComplexArray) -> _Stack:
    owner = np.repeat(np.arange(len(voices)), [len(voice.numbers) for voice in voices])
    number = np.concatenate([voice.numbers for voice in voices]).astype(float)
    freq = np.array([float(np.mean(voice.freq_hz)) for voice in voices])[owner] * number
    order = np.argsort(freq)
    parts = np.split(order, np.flatnonzero(np.diff(freq[order]) > _MAIN_LOBE_BINS * frames.bin_hz) + 1)
    clusters = [
        _Cluster(part, overlap((freq[part, None] - freq[part]) / frames.bin_hz))
        for part in parts
        if len(part) > 1
    ]
    stack = _Stack(
        owner=owner,
        number=number,
        turn=np.concatenate([voice.rotation for voice in voices], axis=1),
        residual=np.concatenate([voice.lobes(frames).read(frames) for voice in voices], axis=1),
        clusters=clusters,
        alone=np.array([part[0] for part in parts if len(part) == 1], dtype=np.intp),
    )
    _leave(stack, amplitude)
    return stack


def _leave(stack: _Stack, amplitude: ComplexArray) -> None:
    """Take partials of that amplitude out of the residual that the stack owns."""
    stack.residual[:, stack.alone] -= amplitude[stack.alone] * stack.turn[:, stack.alone]
    for cluster in stack.clusters:
        at = cluster.columns
        stack.residual[:, at] -= (amplitude[at] * stack.turn[:, at]) @ cluster.near


def _cauchy(stack: _Stack) -> FloatArray:
    """Weights 1 / (s^2 + |r|^2), s^2 the median power of the residual (Cauchy's); one for a cluster."""
    power = stack.residual.real**2 + stack.residual.imag**2
    for cluster in stack.clusters:
        power[:, cluster.columns] = power[:, cluster.columns].mean(axis=1, keepdims=True)
    return np.asarray(1.0 / (np.median(power, axis=0) + power + 1e-18))


def _amplitude_step(stack: _Stack, weight: FloatArray) -> ComplexArray:
    right = np.sum(stack.turn.conj() * weight * stack.residual, axis=0)
    step: ComplexArray = np.asarray(right / np.sum(weight, axis=0))
    for cluster in stack.clusters:
        at = cluster.columns
        turn = stack.turn[:, at]
        normal = cluster.near * (turn.conj().T @ (weight[:, at[:1]] * turn))
        # A trace of ridge: two tenors in unison share one amplitude between them.
        ridge = _RIDGE * np.trace(normal).real / len(at)
        step[at] = np.linalg.solve(normal + ridge * np.eye(len(at)), right[at])
    return step


def _phase_step(
    frames: Frames,
    voices: list[Voice],
    stack: _Stack,
    weight: FloatArray,
    amplitude: ComplexArray,
    spread_hz: float,
) -> list[FloatArray]:
    count, rows = len(voices), len(voices[0].rows)
    tangent = 2j * np.pi * stack.number * amplitude * stack.turn
    pull = weight * (tangent.conj() * stack.residual).real
    gradient = [pull[:, stack.owner == v].sum(axis=1) for v in range(count)]
    own = weight * (tangent.real**2 + tangent.imag**2)
    bend = {(v, v): own[:, stack.owner == v].sum(axis=1) for v in range(count)}
    for cluster in stack.clusters:
        for i, p in enumerate(cluster.columns):
            for j, q in enumerate(cluster.columns):
                if i != j:
                    pair = (int(stack.owner[p]), int(stack.owner[q]))
                    cross = cluster.near[i, j] * weight[:, p] * (tangent[:, p].conj() * tangent[:, q]).real
                    bend[pair] = bend.get(pair, 0.0) + cross
    basis = spline_basis(rows, frames.hop_s, KNOT_S)
    slope = spline_slope(rows, frames.hop_s, KNOT_S)
    width = basis.shape[1]
    stiffness = frames.hop_s / KNOT_S / spread_hz**2
    normal = np.kron(np.eye(count), stiffness * slope.T @ slope)
    for (v, u), course in bend.items():
        if v <= u:
            part = basis.T @ (course[:, None] * basis)
            normal[v * width : (v + 1) * width, u * width : (u + 1) * width] += part
            if v < u:
                normal[u * width : (u + 1) * width, v * width : (v + 1) * width] += part
    right = [
        basis.T @ gradient[v] - stiffness * slope.T @ (voice.freq_hz - np.mean(voice.freq_hz))
        for v, voice in enumerate(voices)
    ]
    normal[np.diag_indices_from(normal)] *= 1 + 1e-9
    solved = np.linalg.solve(normal, np.concatenate(right)).reshape(count, width)
    return [basis @ row for row in solved]
