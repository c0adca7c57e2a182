"""A bore as a sum of damped modes, fitted to its impedance: what a simulation in time blows.

Z(s) = sum of r_k / (s - s_k), poles and residues in conjugate pairs or real (vector fitting: Gustavsen &
Semlyen 1999, IEEE Trans. Power Deliv. 14:1052; relaxed: Gustavsen 2006, 21:1587; from memory). So Silva et
al. 2007 (arXiv 0705.2803) take a bore into the time domain.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import BoolArray, ComplexArray, FloatArray

#: Where the impedance is fitted: finely where notes and their first harmonics lie.
FITTED_HZ = np.concatenate([np.arange(20.0, 3000.0, 5.0), np.arange(3000.0, 10000.0, 20.0)])
_PAIRS = 18
_ROUNDS, _AGAIN = 14, 5


@dataclass(frozen=True, slots=True, kw_only=True)
class ModalBore:
    """M bores of K modes each: poles in the upper half plane or real, 1/s, and residues, Pa/m³.

    `impedance` is twice the real part for a pair; a real mode has half its residue here.
    """

    poles: ComplexArray
    residues: ComplexArray

    def impedance(self, omega: FloatArray) -> ComplexArray:
        """Pa s/m³ of each bore at the angular frequencies (F,): shape (M, F)."""
        s = 1j * omega[:, None]
        one = self.residues[:, None, :] / (s - self.poles[:, None, :])
        other = self.residues.conj()[:, None, :] / (s - self.poles.conj()[:, None, :])
        return np.asarray((one + other).sum(axis=-1))


def fitted(impedance: ComplexArray, *, alike: int = 1) -> ModalBore:
    """Fit impedances (M, F) at `FITTED_HZ`; each run of `alike` rows are nearly the same bore."""
    poles, residues = [], []
    last = _first_poles()
    for row, values in enumerate(impedance):
        anew = row % alike == 0
        last, found = _fit(values, _first_poles() if anew else last, _ROUNDS if anew else _AGAIN)
        upper = last.imag >= 0
        real = last.imag[upper] == 0
        spare = _PAIRS * 2 - upper.sum()
        # Bores differ in how many of their modes are real: the rest of a row is empty.
        poles.append(np.pad(last[upper], (0, spare), constant_values=-1e3))
        residues.append(np.pad(np.where(real, 0.5, 1.0) * found[upper], (0, spare)))
    used = (np.abs(np.array(residues)) > 0).any(axis=0)
    return ModalBore(poles=np.array(poles)[:, used], residues=np.array(residues)[:, used])


def _first_poles() -> ComplexArray:
    at = 2 * np.pi * np.geomspace(200.0, 9500.0, _PAIRS)
    upper = (-0.03 + 1j) * at
    return np.asarray(np.ravel(np.column_stack([upper, upper.conj()])))


def _fit(values: ComplexArray, poles: ComplexArray, rounds: int) -> tuple[ComplexArray, ComplexArray]:
    """Poles, conjugates side by side, and residues."""
    s, scale = 2j * np.pi * FITTED_HZ, np.abs(values).max()
    target = values / scale
    weight = 1 / np.sqrt(np.abs(target))
    for _ in range(rounds):
        basis = _basis(s, poles)
        count = poles.size
        matrix = np.hstack([basis, -target[:, None] * basis, -target[:, None]]) * weight[:, None]
        # Relaxed: the denominator's mean is one, not its value at infinity.
        mean = np.concatenate([np.zeros(count), basis.real.sum(axis=0), [float(s.size)]]) / s.size
        rows = np.vstack([matrix.real, matrix.imag, mean])
        size = np.linalg.norm(rows, axis=0)
        wanted = np.zeros(rows.shape[0])
        wanted[-1] = 1.0
        found = np.linalg.lstsq(rows / size, wanted, rcond=None)[0] / size
        poles = _zeros(poles, found[count : 2 * count] / found[-1])
    basis = _basis(s, poles) * weight[:, None]
    rows = np.vstack([basis.real, basis.imag])
    size = np.linalg.norm(rows, axis=0)
    goal = target * weight
    real = np.linalg.lstsq(rows / size, np.concatenate([goal.real, goal.imag]), rcond=None)[0] / size
    return poles, scale * _complex(poles, real)


def _pairs(poles: ComplexArray) -> BoolArray:
    """Which poles open a pair."""
    return np.asarray(poles.imag > 0)


def _basis(s: ComplexArray, poles: ComplexArray) -> ComplexArray:
    """Partial fractions (F, K) whose coefficients are real."""
    found = 1 / (s[:, None] - poles)
    (first,) = np.nonzero(_pairs(poles))
    one, other = found[:, first], found[:, first + 1]
    found[:, first], found[:, first + 1] = one + other, 1j * (one - other)
    return np.asarray(found)


def _complex(poles: ComplexArray, real: FloatArray) -> ComplexArray:
    found = real.astype(complex)
    (first,) = np.nonzero(_pairs(poles))
    found[first] = real[first] + 1j * real[first + 1]
    found[first + 1] = found[first].conj()
    return found


def _zeros(poles: ComplexArray, numerator: FloatArray) -> ComplexArray:
    """Zeros of 1 + sum c/(s - p), mirrored into the stable half plane, conjugates side by side."""
    matrix = np.diag(poles.real)
    enter = np.ones(poles.size)
    (first,) = np.nonzero(_pairs(poles))
    matrix[first, first + 1] = poles.imag[first]
    matrix[first + 1, first] = -poles.imag[first]
    enter[first], enter[first + 1] = 2.0, 0.0
    found = np.linalg.eigvals(matrix - np.outer(enter, numerator)).astype(complex)
    found = -np.abs(found.real) + 1j * found.imag
    real = found[np.abs(found.imag) <= 1e-9 * np.abs(found)].real.astype(complex)
    upper = found[found.imag > 1e-9 * np.abs(found)]
    return np.concatenate([np.ravel(np.column_stack([upper, upper.conj()])), real])
