"""Fit several harmonic sources at once: amplitudes by least squares, phases by Gauss-Newton on splines.

Partials of different sources that lie within the window's main lobe of one another form a cluster. With
e_p(t) = exp(2 pi i k phi(t)) the unit phasor of partial p, a_p(t) its amplitude, o_pq the overlap of the
window's transforms, y_p the reading at p and r_p = y_p - sum_q o_pq a_q e_q what the model leaves of it,
amplitudes are piecewise linear in time, a_p(t) = sum_h h(t) c_ph with knots a second or so apart, and the
normal equations of a cluster's steps are

    sum_qg [sum_t w o_pq conj(e_p) e_q h g] dc_qg + (D'D)(c + dc)_p / (s^2 |a_p|^2) = sum_t w conj(e_p) r_p h,

D the differences of neighbouring knots and s how much of itself an amplitude changes between them. Those of
the phases follow from the tangents de/dphi = 2 pi i k a e. Weights w are of Cauchy's form, so that a source
which is not in the model (the chanter, before it is known) disturbs only where it sounds. What all
amplitudes of a source turn by together is phase: after each step it is moved there, partials counting by k^2
|a|^2, which is what defines the pitch of a source whose partials creep against each other. Guarded by
`tests/analytic/test_joint_fit.py`.
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
    from canebench.sound.dsp.harmonic_source import HarmonicSource

_MAIN_LOBE_BINS = 3.0
KNOT_S = 0.2
#: Knots of the amplitudes are at least so far apart, and an amplitude changes between them by this share.
AMPLITUDE_KNOT_S, _CHANGE = 1.0, 0.15
_STILL_CYCLES = 5e-5
_RIDGE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Sources after a step, the residual read at their partials, the weights, and how far phases moved."""

    sources: tuple[HarmonicSource, ...]
    residuals: tuple[ComplexArray, ...]
    weights: tuple[FloatArray, ...]
    moved_cycles: float


@dataclass(frozen=True, slots=True)
class _Cluster:
    """Partials (columns of the stacked partials of all sources) near each other, and their overlaps."""

    columns: IntArray
    near: FloatArray


@dataclass(frozen=True, slots=True)
class _Stack:
    """The partials of all sources side by side: owner, number, phasors, residuals [(m, partials)]."""

    owner: IntArray
    number: FloatArray
    turn: ComplexArray
    residual: ComplexArray
    clusters: list[_Cluster]


@dataclass(frozen=True, slots=True)
class _Knots:
    """Where the amplitudes' knots lie: the span each frame is in, and its place in it from 0 to 1."""

    count: int
    span: IntArray
    place: FloatArray

    @property
    def starts(self) -> IntArray:
        """The first frame of each span."""
        return np.searchsorted(self.span, np.arange(self.count - 1))

    def at_frames(self, values: ComplexArray) -> ComplexArray:
        """Knot values [(knots, p)] at every frame."""
        if self.count == 1:
            return values
        place = self.place[:, None]
        return np.asarray((1 - place) * values[self.span] + place * values[self.span + 1])

    def summed(self, course: ComplexArray) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
        """Sums over each span of a course [(m, …)] times (1-u)^2, u(1-u) and u^2, u the place."""
        starts = self.starts
        place = self.place.reshape(-1, *[1] * (course.ndim - 1))
        return (
            np.add.reduceat(course * (1 - place) ** 2, starts, axis=0),
            np.add.reduceat(course * place * (1 - place), starts, axis=0),
            np.add.reduceat(course * place**2, starts, axis=0),
        )

    def folded(self, course: ComplexArray) -> ComplexArray:
        """Sum of a course [(m, p)] at each knot [(knots, p)]: the transpose of `at_frames`."""
        if self.count == 1:
            return np.asarray(course.sum(axis=0, keepdims=True))
        starts, place = self.starts, self.place[:, None]
        total = np.zeros((self.count, course.shape[1]), dtype=course.dtype)
        total[:-1] += np.add.reduceat(course * (1 - place), starts, axis=0)
        total[1:] += np.add.reduceat(course * place, starts, axis=0)
        return total


def _knots(count: int, hop_s: float) -> _Knots:
    spans = int((count - 1) * hop_s / AMPLITUDE_KNOT_S)
    if spans < 2:
        return _Knots(1, np.zeros(count, dtype=np.intp), np.zeros(count))
    position = np.arange(count) * (spans / (count - 1))
    span = np.minimum(position.astype(np.intp), spans - 1)
    return _Knots(spans + 1, span, position - span)


def fit_step(
    frames: Frames, sources: Sequence[HarmonicSource], *, spread_hz: float, phases: bool = True
) -> Fit:
    """One step on amplitudes and, with `phases`, on phases; all sources must share their rows.

    `spread_hz` is how far a source's frequency is expected to stray from its mean (prior, RMS).
    """
    knots = _knots(len(sources[0].rows), frames.hop_s)
    amplitude = np.concatenate([_on_knots(source, knots) for source in sources], axis=1)
    stack = _stacked(frames, sources, knots.at_frames(amplitude))
    weight = _cauchy(stack)
    step = _amplitude_step(stack, weight, amplitude, knots)
    _leave(stack, knots.at_frames(step))
    amplitude = amplitude + step
    parts = np.cumsum([len(source.numbers) for source in sources])[:-1]
    split = np.split(amplitude, parts, axis=1)
    moved = 0.0
    found = [
        replace(source, amplitude=knots.at_frames(own)) for source, own in zip(sources, split, strict=True)
    ]
    if phases:
        steps = _phase_step(
            frames, found, stack, weight, np.concatenate([s.amplitude for s in found], axis=1), spread_hz
        )
        found = [source.moved(step, frames.hop_s) for source, step in zip(found, steps, strict=True)]
        found = [
            _regauged(source, own, knots, frames.hop_s) for source, own in zip(found, split, strict=True)
        ]
        moved = max(
            float(np.sqrt(np.mean((now.cycles - then.cycles) ** 2)))
            for now, then in zip(found, sources, strict=True)
        )
    return Fit(
        sources=tuple(found),
        residuals=tuple(np.split(stack.residual, parts, axis=1)),
        weights=tuple(np.split(weight, parts, axis=1)),
        moved_cycles=moved,
    )


def fit_until_still(frames: Frames, fit: Fit, *, spread_hz: float, most: int) -> Fit:
    """Steps until the phases stand still to a few ten-thousandths of a cycle, at most `most`."""
    for _ in range(most):
        fit = fit_step(frames, fit.sources, spread_hz=spread_hz)
        if fit.moved_cycles < _STILL_CYCLES:
            break
    return fit


def _on_knots(source: HarmonicSource, knots: _Knots) -> ComplexArray:
    """Its amplitudes at the knots [(knots, k)]."""
    own = source.amplitude
    if len(own) == 1 or knots.count == 1:
        return np.repeat(np.mean(own, axis=0, keepdims=True), knots.count, axis=0)
    at = np.rint(np.linspace(0, len(own) - 1, knots.count)).astype(np.intp)
    return np.asarray(own[at])


def _regauged(source: HarmonicSource, amplitude: ComplexArray, knots: _Knots, hop_s: float) -> HarmonicSource:
    """The source with what its amplitudes (at the knots) turn by together moved into its phase."""
    if knots.count == 1:
        return source
    turned = amplitude[1:] * amplitude[:-1].conj()
    number = source.numbers.astype(float)
    weight = number**2 * np.abs(turned)
    step = np.sum(weight * np.angle(turned) / number, axis=1) / (2 * np.pi * (weight.sum(axis=1) + 1e-30))
    cycles = np.concatenate([[0.0], np.cumsum(step)])
    back = amplitude * np.exp(-2j * np.pi * np.outer(cycles, number))
    smooth = np.interp(np.arange(len(source.rows)), np.linspace(0, len(source.rows) - 1, knots.count), cycles)
    return replace(source.moved(smooth, hop_s), amplitude=knots.at_frames(back))


def _stacked(frames: Frames, sources: Sequence[HarmonicSource], amplitude: ComplexArray) -> _Stack:
    owner = np.repeat(np.arange(len(sources)), [len(source.numbers) for source in sources])
    number = np.concatenate([source.numbers for source in sources]).astype(float)
    freq = np.array([float(np.mean(source.freq_hz)) for source in sources])[owner] * number
    order = np.argsort(freq)
    parts = np.split(order, np.flatnonzero(np.diff(freq[order]) > _MAIN_LOBE_BINS * frames.bin_hz) + 1)
    stack = _Stack(
        owner=owner,
        number=number,
        turn=np.concatenate([source.rotation for source in sources], axis=1),
        residual=np.concatenate([source.lobes(frames).read(frames) for source in sources], axis=1),
        clusters=[_Cluster(part, overlap((freq[part, None] - freq[part]) / frames.bin_hz)) for part in parts],
    )
    _leave(stack, amplitude)
    return stack


def _leave(stack: _Stack, amplitude: ComplexArray) -> None:
    """Take partials of that amplitude [(m or 1, p)] out of the residual that the stack owns."""
    sounding = amplitude * stack.turn
    for cluster in stack.clusters:
        at = cluster.columns
        stack.residual[:, at] -= sounding[:, at] @ cluster.near if len(at) > 1 else sounding[:, at]


def _cauchy(stack: _Stack) -> FloatArray:
    """Weights 1 / (s^2 + |r|^2), s^2 the median power of the residual (Cauchy's); one for a cluster."""
    power = stack.residual.real**2 + stack.residual.imag**2
    for cluster in stack.clusters:
        if len(cluster.columns) > 1:
            power[:, cluster.columns] = power[:, cluster.columns].mean(axis=1, keepdims=True)
    return np.asarray(1.0 / (np.median(power, axis=0) + power + 1e-18))


def _amplitude_step(
    stack: _Stack, weight: FloatArray, amplitude: ComplexArray, knots: _Knots
) -> ComplexArray:
    """Steps of the amplitudes at the knots [(knots, p)]."""
    right = knots.folded(stack.turn.conj() * weight * stack.residual)
    step = np.zeros_like(amplitude)
    if knots.count > 1:
        own = np.mean(np.abs(amplitude) ** 2, axis=0)
        # Before anything is known of it, an amplitude may be as large as what is read at its place.
        there = np.asarray(np.where(own > 0, own, np.mean(np.abs(stack.residual) ** 2, axis=0)))
        stiff = 1.0 / (_CHANGE**2 * (there + 1e-18))
        drop = np.diff(amplitude, axis=0)
        right[:-1] += stiff * drop
        right[1:] -= stiff * drop
    else:
        stiff = np.zeros(amplitude.shape[1])
    for size in sorted({len(cluster.columns) for cluster in stack.clusters}):
        alike = [cluster for cluster in stack.clusters if len(cluster.columns) == size]
        at = np.stack([cluster.columns for cluster in alike])
        near = np.stack([cluster.near for cluster in alike])
        turn = stack.turn[:, at]
        weighted = weight[:, at[:, 0], None] * turn.conj()
        product = weighted[..., :, None] * turn[..., None, :] * near
        normal = _normal(product, stiff[at], knots)
        # A trace of ridge: two tenors in unison share one amplitude between them.
        every = np.arange(normal.shape[-1])
        normal[:, every, every] *= 1 + _RIDGE
        wanted = right[:, at].transpose(1, 0, 2).reshape(len(at), -1, 1)
        solved = np.linalg.solve(normal, wanted).reshape(len(at), knots.count, size)
        step[:, at] = solved.transpose(1, 0, 2)
    return step


def _normal(product: ComplexArray, stiff: FloatArray, knots: _Knots) -> ComplexArray:
    """Normal matrices of clusters [(m, clusters, c, c)], ordered by knot and then partial."""
    count, size = product.shape[1:3]
    if knots.count == 1:
        return np.asarray(product.sum(axis=0))
    low, mixed, high = knots.summed(product)
    normal = np.zeros((knots.count, knots.count, count, size, size), complex)
    at = np.arange(knots.count - 1)
    normal[at, at] += low
    normal[at + 1, at + 1] += high
    normal[at, at + 1] += mixed
    normal[at + 1, at] += mixed
    own = np.arange(size)
    for i, j, sign in ((0, 0, 1), (1, 1, 1), (0, 1, -1), (1, 0, -1)):
        for c in own:
            normal[at + i, at + j, :, c, c] += sign * stiff[:, c]
    return normal.transpose(2, 0, 3, 1, 4).reshape(count, knots.count * size, knots.count * size)


def _phase_step(
    frames: Frames,
    sources: list[HarmonicSource],
    stack: _Stack,
    weight: FloatArray,
    amplitude: ComplexArray,
    spread_hz: float,
) -> list[FloatArray]:
    count, rows = len(sources), len(sources[0].rows)
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
        basis.T @ gradient[v] - stiffness * slope.T @ (source.freq_hz - np.mean(source.freq_hz))
        for v, source in enumerate(sources)
    ]
    normal[np.diag_indices_from(normal)] *= 1 + 1e-9
    solved = np.linalg.solve(normal, np.concatenate(right)).reshape(count, width)
    return [basis @ row for row in solved]
