"""The sum of a source's partials on one phase, each with a complex amplitude that moves.

Guarded by `tests/analytic/test_courses.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray

#: Samples worked on at a time: as many as the processor's cache holds.
_CHUNK: Final = 8192


def knots(count: int, hop: int) -> FloatArray:
    """Places (in samples) of the amplitudes that `sum_of_partials` wants for `count` samples."""
    return np.arange(-(-count // hop) + 1) * float(hop)


def sum_of_partials(cycles: FloatArray, amplitudes: ComplexArray, hop: int) -> FloatArray:
    """Re sum_k a_k(t) exp(2 pi i k cycles(t)), k from 1.

    Parameters
    ----------
    cycles : array (samples,)
        Phase over 2 pi.
    amplitudes : complex array (partials, knots)
        Straight lines between the knots.
    hop : whole number
        Samples between two knots; `knots` says how many there must be.

    The sum is a polynomial in exp(2 pi i cycles) and taken by Horner's rule.
    """
    count = len(cycles)
    blocks = amplitudes.shape[1] - 1
    ramp = np.arange(hop) / hop
    padded = np.concatenate([cycles, np.zeros(blocks * hop - count)]).reshape(blocks, hop)
    total = np.empty((blocks, hop))
    step = max(1, _CHUNK // hop)
    for first in range(0, blocks, step):
        last = min(first + step, blocks)
        rotor = np.exp(2j * np.pi * padded[first:last])
        held = amplitudes[:, first:last, None]
        moved = amplitudes[:, first + 1 : last + 1, None] - held
        sums = np.zeros_like(rotor)
        term = np.empty_like(rotor)
        for k in range(len(amplitudes) - 1, -1, -1):
            np.multiply(moved[k], ramp, out=term)
            sums += term
            sums += held[k]
            sums *= rotor
        total[first:last] = sums.real
    return total.reshape(-1)[:count]


def polynomial(rotor: ComplexArray, factors: ComplexArray) -> ComplexArray:
    """sum_k f_k z**k, k from 1, at each z of `rotor`, by Horner's rule."""
    total = np.zeros_like(rotor)
    for factor in factors[::-1]:
        total += factor
        total *= rotor
    return total
