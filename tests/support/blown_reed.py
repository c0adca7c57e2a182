"""A reed of one mass blown on a bore, in time: what predictions of pitch and threshold are held against.

Equations as in `reactive_balance`, none of them linearized: the slit shuts and opens, flow goes with the root
of the pressure across it, whichever way. Modes of bore and reed are stepped exactly, the flow between two
steps along a straight line (a first-order hold, extrapolated).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from canebench.bore.network import scan
from support.modal_bore import FITTED_HZ, ModalBore, fitted

if TYPE_CHECKING:
    from canebench.base.arrays import BoolArray, ComplexArray, FloatArray
    from support.reactive_balance import Blown

_STEP_S = 4e-6
_KEPT = 8
_RAMP_S = 0.02
#: Below this pressure difference the root is replaced by a straight line, Pa.
_SMALL_PA = 20.0
_WINDOWS = 3
_STEADY_CENTS = 0.5
_SILENT_PA = 20.0
#: What may be left beside the harmonics, and how strong the first is at least beside the strongest: where it
#: is weaker another register speaks.
_REST, _OWN = 0.05, 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Sound:
    """What M blown reeds did: pitch (M,), Hz, harmonics of the pressure between the blades (M, N), Pa.

    `size_pa` (M, 2) is the root mean square before and after; `steady` says that it plays, at one pitch.
    """

    hz: FloatArray
    pressures: FloatArray
    size_pa: FloatArray
    steady: BoolArray


def modes(blown: Blown) -> ModalBore:
    """The bore with the room between the blades, as modes."""
    return fitted(1 / fitted_admittance(blown))


def fitted_admittance(blown: Blown) -> ComplexArray:
    """Bore and room between the blades (M, F) at `FITTED_HZ`."""
    bore = replace(blown.network, volume_m3=blown.reed.cavity_mm3 * 1e-9)
    return scan(bore, blown.open_share, blown.gap_m, 2 * np.pi * FITTED_HZ)


def played(
    bore: ModalBore,
    blown: list[Blown],
    mouth_pa: FloatArray,
    near_hz: FloatArray,
    *,
    lasts_s: float = 0.4,
    harmonics: int = 8,
) -> Sound:
    """Blow them all, M in a row, with a pressure that rises in 20 ms; `near_hz` is about where they play."""
    pressure = _pressures(bore, blown, mouth_pa, lasts_s)
    return heard(pressure, near_hz, harmonics=harmonics)


def _pressures(bore: ModalBore, blown: list[Blown], mouth_pa: FloatArray, lasts_s: float) -> FloatArray:
    """Pressure between the blades (M, T), every eighth step."""
    counts = [one.gap_m.size for one in blown]

    def each(values: list[float]) -> FloatArray:
        return np.repeat(np.array(values), counts)

    own = 2 * np.pi * each([one.reed.own_hz for one in blown])
    damping = each([one.reed.damping for one in blown])
    closing = each([one.reed.closing_pa for one in blown])
    slit = each([one.reed.slit_m2 * np.sqrt(2 / one.network.medium.density_kg_m3) for one in blown])
    yielding = each([one.reed.spring_mm3 * 1e-9 / one.network.medium.stiffness_pa for one in blown])
    pole = own * (-damping / 2 + 1j * np.sqrt(1 - damping**2 / 4))
    residue = own**2 / (2j * pole.imag)
    step = _Step(np.column_stack([bore.poles, pole]))
    bores = bore.poles.shape[1]
    state = np.zeros((mouth_pa.size, bores + 1), complex)
    drive = np.zeros(state.shape)
    before = drive.copy()
    steps = round(lasts_s / _STEP_S)
    kept = np.empty((steps // _KEPT, mouth_pa.size))
    for n in range(steps):
        mouth = mouth_pa * min(1.0, n * _STEP_S / _RAMP_S)
        pressure = 2 * (bore.residues * state[:, :bores]).real.sum(axis=1)
        moved = 2 * (residue * state[:, bores]).real
        speed = 2 * (residue * pole * state[:, bores]).real
        across = mouth - pressure
        root = across / np.sqrt(np.sqrt(across**2 + _SMALL_PA**2))
        drive[:, :bores] = (slit * np.maximum(0.0, 1 + moved / closing) * root - yielding * speed)[:, None]
        drive[:, bores] = -across
        if n % _KEPT == 0 and n // _KEPT < len(kept):
            kept[n // _KEPT] = pressure
        state = step.kept * state + step.first * drive + step.second * (drive - before)
        before[:] = drive
    return kept.T


class _Step:
    """Exact weights of a step for poles (M, K): the state, the drive, and its change since the last step."""

    def __init__(self, poles: ComplexArray) -> None:
        turn = poles * _STEP_S
        self.kept = np.exp(turn)
        self.first = np.expm1(turn) / turn * _STEP_S
        self.second = (np.expm1(turn) - turn) / turn**2 * _STEP_S


def heard(pressure: FloatArray, near_hz: FloatArray, *, harmonics: int) -> Sound:
    """Pitch and harmonics of the second half of pressures (M, T)."""
    half = pressure.shape[1] // 2
    tail = pressure[:, half:] - pressure[:, half:].mean(axis=1, keepdims=True)
    rate = 1 / (_STEP_S * _KEPT)
    length = tail.shape[1] // _WINDOWS
    hz = _peak_hz(tail, near_hz, rate)
    window = np.hanning(length)
    pitches = hz
    for _ in range(3):
        seconds = np.arange(tail.shape[1]) / rate
        turned = tail * np.exp(-2j * np.pi * pitches[:, None] * seconds)
        parts = [turned[:, k * length : (k + 1) * length] @ window for k in range(_WINDOWS)]
        steps = [np.angle(b / a) for a, b in pairwise(parts)]
        off = np.array(steps) / (2 * np.pi * length / rate)
        pitches = pitches + off.mean(axis=0)
    apart = 1200 * np.abs(np.log2((pitches + off[0]) / (pitches + off[-1]))) + 1200 * np.abs(
        off.mean(axis=0) / pitches
    )
    full = np.hanning(tail.shape[1])
    order = np.arange(1, harmonics + 1)[:, None, None]
    waves = np.exp(-2j * np.pi * order * pitches[:, None] * seconds)
    size = 2 * np.abs((tail * waves * full).sum(axis=-1)).T / full.sum()
    before = pressure[:, half // 2 : half]
    loud = np.stack([before.std(axis=1), tail.std(axis=1)], axis=1)
    rest = np.abs(np.sqrt((size**2).sum(axis=1) / 2) / np.maximum(loud[:, 1], 1e-9) - 1)
    own = size[:, 0] > _OWN * size.max(axis=1)
    steady = (apart < _STEADY_CENTS) & (rest < _REST) & (loud[:, 1] > _SILENT_PA) & own
    return Sound(hz=pitches, pressures=size, size_pa=loud, steady=np.asarray(steady))


def _peak_hz(tail: FloatArray, near_hz: FloatArray, rate: float) -> FloatArray:
    """The strongest part within a fourth of where it is looked for."""
    padded = 4 * tail.shape[1]
    size = np.abs(np.fft.rfft(tail * np.hanning(tail.shape[1]), padded, axis=1))
    hz = np.fft.rfftfreq(padded, 1 / rate)
    near = np.abs(np.log2(np.maximum(hz, 1.0) / near_hz[:, None])) < 1 / 4
    return np.asarray(hz[np.argmax(np.where(near, size, -1.0), axis=1)])
