"""Two tenors that waver, told apart window by window and followed in phase through the run.

Two reeds a few cents apart, each drifting for itself, are no two lines of a long spectrum. But in a second
they hardly move, and in their sixth or eighth partial three cents are 3 Hz. So in every window of a second
each pair of pitches is tried: with the bass's even partials, whose course is known, as a third source, a
least-squares fit says what share of each partial's energy is explained, and

    L(d1, d2) = sum_k log(E_k / (E_k - explained_k))

is bounded for each partial, so that a chanter note in some of them does not decide. The best pair of courses
through all windows is found by dynamic programming (Viterbi 1967) with a random walk in each pitch. The
phases of the fitted amplitudes then link each window to the next: the step that most partials agree on.
Guarded by `tests/analytic/test_tenor_pair.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.sound.dsp.harmonic_source import integral
from canebench.sound.dsp.stft import amplitudes

if TYPE_CHECKING:
    from canebench.base.arrays import BoolArray, ComplexArray, FloatArray, IntArray
    from canebench.sound.dsp.stft import Frames

#: A window, and from one to the next, s; partials of the tenors that are looked at.
_WINDOW_S, _STEP_S = 1.02, 0.51
_PARTIALS: Final = 10
#: How far from the centre (15 cents), and how finely, the tenors are sought, Hz of the fundamental.
_REACH_HZ, _GRID_HZ = 2.0, 0.07
#: Share of a partial's energy that counts as fully explained, and of the strongest that is hardly there.
_LEAST_LEFT, _FAINT = 0.03, 1e-3
#: How far a tenor goes from one window to the next, Hz RMS; the ridge under two that meet.
_WALK_HZ, _RIDGE = 0.1, 0.02
#: Nearer than this they meet, Hz: which is which is then told by their timbre.
_MEETING_HZ = 0.25
#: The finest grid on which the link from window to window is sought, Hz, and how far.
_LINK_GRID_HZ, _LINK_REACH_HZ = 0.004, 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class PairCourse:
    """Two tenors at the centres of the windows.

    Attributes
    ----------
    frames : float array [shape=(w,)]
        Centres of the windows, in frames of the run.
    freq_hz, cycles : float array [shape=(2, w)]
        Pitch and phase of each.
    gain : float
        How much more of the partials' energy two explain than one, nepers a window.
    """

    frames: FloatArray
    freq_hz: FloatArray
    cycles: FloatArray
    gain: float


@dataclass(frozen=True, slots=True)
class _Windows:
    """Demodulated partials in windows: `cut` [(w, n, k)], times, taper, the bass's turning."""

    starts: IntArray
    cut: ComplexArray
    time_s: FloatArray
    taper: FloatArray
    bass_cycles: FloatArray
    faint: float


def tenor_pair(
    frames: Frames, centre_hz: FloatArray, rows: IntArray, bass_hz: FloatArray | None
) -> PairCourse | None:
    """The two tenors about `centre_hz` [shape=(m,)] in the frames `rows`; None where the run is too short.

    `bass_hz` [shape=(m,)] is twice the bass drone's course, whose even partials lie among the tenors'.
    """
    windows = _cut(frames, centre_hz, rows, centre_hz if bass_hz is None else bass_hz)
    if windows is None:
        return None
    grid = np.arange(-_REACH_HZ, _REACH_HZ + _GRID_HZ / 2, _GRID_HZ)
    numbers = np.arange(1, windows.cut.shape[2] + 1)
    pair, single = _scores(windows, grid, numbers, with_bass=bass_hz is not None)
    first, second = _best_courses(pair, grid)
    picked = np.arange(len(pair))
    gain = float(np.mean(pair[picked, first, second]) - np.mean(_best_course(single, grid)))
    offsets = np.stack([grid[first], grid[second]])
    return _linked(frames, windows, centre_hz, offsets, numbers, gain, with_bass=bass_hz is not None)


def _cut(frames: Frames, centre_hz: FloatArray, rows: IntArray, bass_hz: FloatArray) -> _Windows | None:
    size, step = (max(4, round(length / frames.hop_s)) for length in (_WINDOW_S, _STEP_S))
    if len(rows) < size:
        return None
    numbers = np.arange(1, min(_PARTIALS, int(frames.top_hz / np.max(centre_hz))) + 1)
    cycles = integral(centre_hz, frames.hop_s)
    read = amplitudes(frames, np.outer(centre_hz, numbers), rows)
    read = read * np.exp(-2j * np.pi * np.outer(cycles, numbers))
    taper = np.hanning(size + 2)[1:-1]
    starts = np.unique(np.append(np.arange(0, len(rows) - size + 1, step), len(rows) - size))
    at = starts[:, None] + np.arange(size)
    return _Windows(
        starts=starts,
        cut=read[at] * taper[:, None],
        time_s=(np.arange(size) - (size - 1) / 2) * frames.hop_s,
        taper=taper,
        bass_cycles=integral(bass_hz - centre_hz, frames.hop_s)[at],
        faint=_FAINT * float(np.max(np.median(np.abs(read) ** 2, axis=0))) * float(taper.sum()),
    )


def _scores(
    windows: _Windows, grid: FloatArray, numbers: IntArray, *, with_bass: bool
) -> tuple[FloatArray, FloatArray]:
    """L of every pair [(w, n, n)] and of every single pitch [(w, n)]."""
    count, size = len(grid), len(windows.starts)
    pair, single = np.zeros((size, count, count)), np.zeros((size, count))
    total = float(windows.taper.sum())
    ahead = np.arange(count)[None, :] - np.arange(count)[:, None] + count - 1
    steps = np.arange(-(count - 1), count) * (grid[1] - grid[0])
    for k in numbers:
        turn = np.exp(-2j * np.pi * k * np.outer(windows.time_s, grid))
        # The window is even about its centre, so its transform is real.
        near = (windows.taper @ np.cos(2 * np.pi * k * np.outer(windows.time_s, steps)))[ahead]
        cut = windows.cut[:, :, k - 1]
        energy = np.sum(np.abs(cut) ** 2 / windows.taper, axis=1) + windows.faint
        share = cut @ turn
        own = np.full((size, count), total)
        known = np.zeros(size)
        meets = np.zeros((size, count), complex)
        if with_bass:
            bass = np.exp(2j * np.pi * k * windows.bass_cycles)
            on_bass = np.sum(cut * bass.conj(), axis=1)
            meets = (windows.taper * bass) @ turn
            share = share - meets * on_bass[:, None] / total
            own = own - np.abs(meets) ** 2 / total
            known = np.abs(on_bass) ** 2 / total
        own = own + _RIDGE * total
        single += _told(energy[:, None], known[:, None] + np.abs(share) ** 2 / own)
        cross = near[None] - meets[:, :, None] * meets.conj()[:, None, :] / total
        level = np.abs(share) ** 2
        explained = own[:, None, :] * level[:, :, None] + own[:, :, None] * level[:, None, :]
        explained -= 2 * (share.conj()[:, :, None] * cross * share[:, None, :]).real
        explained /= own[:, :, None] * own[:, None, :] - np.abs(cross) ** 2
        pair += _told(energy[:, None, None], known[:, None, None] + explained)
    return pair, single


def _told(energy: FloatArray, explained: FloatArray) -> FloatArray:
    return np.asarray(-np.log(np.maximum(1 - explained / energy, _LEAST_LEFT)))


def _walk(grid: FloatArray) -> FloatArray:
    return np.asarray(((grid[:, None] - grid) / _WALK_HZ) ** 2 / 2)


def _best_course(single: FloatArray, grid: FloatArray) -> FloatArray:
    """Scores along the best course of one pitch."""
    walk, total = _walk(grid), -single[0]
    back = []
    for row in single[1:]:
        steps = total[None, :] + walk
        back.append(np.argmin(steps, axis=1))
        total = np.min(steps, axis=1) - row
    at = [int(np.argmin(total))]
    for came in reversed(back):
        at.append(int(came[at[-1]]))
    return single[np.arange(len(single)), at[::-1]]


def _best_courses(pair: FloatArray, grid: FloatArray) -> tuple[IntArray, IntArray]:
    """The pair of courses (indices into the grid) with the best sum; they may cross."""
    walk = _walk(grid)
    total = -pair[0]
    back: list[tuple[IntArray, IntArray]] = []
    for now in pair[1:]:
        one = walk[:, :, None] + total[None, :, :]
        first = np.argmin(one, axis=1)
        moved = np.take_along_axis(one, first[:, None, :], axis=1)[:, 0]
        two = walk[None, :, :] + moved[:, None, :]
        second = np.argmin(two, axis=2)
        total = np.take_along_axis(two, second[:, :, None], axis=2)[..., 0] - now
        back.append((first, second))
    i, j = (int(index) for index in np.unravel_index(int(np.argmin(total)), total.shape))
    path = [(i, j)]
    for first, second in reversed(back):
        j = int(second[i, j])
        i = int(first[i, j])
        path.append((i, j))
    both = np.array(path[::-1])
    return both[:, 0], both[:, 1]


def _linked(
    frames: Frames,
    windows: _Windows,
    centre_hz: FloatArray,
    offsets: FloatArray,
    numbers: IntArray,
    gain: float,
    *,
    with_bass: bool,
) -> PairCourse:
    """Phases through the windows: what each pair's amplitudes advance by from one window to the next."""
    amplitude, weight = _amplitudes(windows, offsets, numbers, with_bass=with_bass)
    swapped = _swapped(offsets, amplitude, weight)
    offsets, amplitude, weight = (
        np.where(swapped.reshape(1, -1, *[1] * (part.ndim - 2)), part[::-1], part)
        for part in (offsets, amplitude, weight)
    )
    middle = windows.starts + (len(windows.time_s) - 1) / 2
    length_s = np.diff(middle) * frames.hop_s
    every = np.arange(len(centre_hz))
    base = np.interp(middle, every, integral(centre_hz, frames.hop_s))
    extra = np.zeros_like(offsets)
    for tenor in range(2):
        expected = (offsets[tenor, 1:] + offsets[tenor, :-1]) / 2
        link = amplitude[tenor, 1:] * amplitude[tenor, :-1].conj()
        link = link * np.exp(-2j * np.pi * np.outer(expected * length_s, numbers))
        strength = np.sqrt(weight[tenor, 1:] * weight[tenor, :-1])
        step = _agreed(link, strength, numbers, length_s)
        extra[tenor, 1:] = np.cumsum((expected + step) * length_s)
    rate = np.gradient(extra, middle * frames.hop_s, axis=1) if len(middle) > 1 else offsets
    centre = np.interp(middle, every, centre_hz)
    return PairCourse(frames=middle, freq_hz=centre + rate, cycles=base + extra, gain=gain)


def _swapped(offsets: FloatArray, amplitude: ComplexArray, weight: FloatArray) -> BoolArray:
    """In which windows the two are to change places so that each keeps its timbre through every meeting.

    Where two courses touch, their pitches do not say whether they crossed or turned back; partials that one
    has and the other has not do.
    """
    near = np.abs(offsets[0] - offsets[1]) < _MEETING_HZ
    apart = np.flatnonzero(~near)
    swapped = np.zeros(len(near), dtype=bool)
    pieces = np.split(apart, np.flatnonzero(np.diff(apart) > 1) + 1)
    if len(pieces) < 2:
        return swapped
    level = np.log(np.abs(amplitude) + 1e-12)
    timbre = [np.sum(weight[:, p] * level[:, p], axis=1) / (weight[:, p].sum(axis=1) + 1e-12) for p in pieces]
    surety = [weight[:, p].mean(axis=(0, 1)) for p in pieces]
    turned = False
    before = timbre[0]
    for piece, now, sure in zip(pieces[1:], timbre[1:], surety[1:], strict=True):
        # Overall level may swing; the shape of the spectrum is the reed's own.
        shape = [part - (part @ sure / sure.sum())[:, None] for part in (before, now)]
        stay, cross = (np.sum(sure * (shape[0] - other) ** 2) for other in (shape[1], shape[1][::-1]))
        turned = bool(cross < stay)
        swapped[piece[0] :] = turned
        before = now[::-1] if turned else now
    return swapped


def _agreed(link: ComplexArray, strength: FloatArray, numbers: IntArray, length_s: FloatArray) -> FloatArray:
    """The step (Hz) that the partials' phases agree on best, for each link."""
    nu = np.arange(-_LINK_REACH_HZ, _LINK_REACH_HZ + _LINK_GRID_HZ / 2, _LINK_GRID_HZ)
    unit = link / (np.abs(link) + 1e-30)
    turn = np.exp(-2j * np.pi * numbers[None, :, None] * length_s[:, None, None] * nu)
    score = np.einsum("wk,wkn->wn", strength, (unit[:, :, None] * turn).real)
    # Of steps that agree as well, the smallest.
    score = score - 1e-3 * strength.sum(axis=1, keepdims=True) * (nu / 0.1) ** 2
    return np.asarray(nu[np.argmax(score, axis=1)])


def _amplitudes(
    windows: _Windows, offsets: FloatArray, numbers: IntArray, *, with_bass: bool
) -> tuple[ComplexArray, FloatArray]:
    """Amplitude of each tenor's partials in each window [(2, w, k)], and how surely it is known."""
    count = len(windows.starts)
    amplitude = np.zeros((2, count, len(numbers)), complex)
    weight = np.zeros((2, count, len(numbers)))
    for k in numbers:
        columns = [np.exp(2j * np.pi * k * np.outer(offset, windows.time_s)) for offset in offsets]
        if with_bass:
            columns.append(np.exp(2j * np.pi * k * windows.bass_cycles))
        basis = np.stack(columns, axis=2)
        weighted = basis.conj() * windows.taper[:, None]
        normal = np.swapaxes(weighted, 1, 2) @ basis
        normal = normal + _RIDGE * windows.taper.sum() * np.eye(basis.shape[2])
        # The cut is tapered already.
        right = np.einsum("wtc,wt->wc", basis.conj(), windows.cut[:, :, k - 1])
        inverse = np.linalg.inv(normal)
        solved = np.einsum("wcd,wd->wc", inverse, right)
        left = windows.cut[:, :, k - 1] - windows.taper * np.einsum("wtc,wc->wt", basis, solved)
        noise = np.sum(np.abs(left) ** 2, axis=1) + windows.faint
        for tenor in range(2):
            amplitude[tenor, :, k - 1] = solved[:, tenor]
            spread = noise * inverse[:, tenor, tenor].real
            weight[tenor, :, k - 1] = np.abs(solved[:, tenor]) ** 2 / (np.abs(solved[:, tenor]) ** 2 + spread)
    return amplitude, weight
