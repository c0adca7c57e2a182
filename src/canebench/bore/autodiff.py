"""Numbers that carry their derivatives: forward differentiation (Wengert 1964, Commun. ACM 7:463).

Exact to rounding. The formulas of the bore are written once, for arrays; given tangents they return
derivatives as well.
Guarded by `tests/invariants/test_tangent.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray

#: A number, an array or a `Tangent`: what a formula written once may be given. The type checker has no name
#: for "any of these, and what operators make of them".
Number: TypeAlias = Any


@dataclass(frozen=True, slots=True)
class Tangent:
    """A `value` of any shape and its derivatives `by`, the parameters along the first axis of `by`."""

    value: ComplexArray
    by: ComplexArray

    #: Arrays on the left of an operator leave the work to us.
    __array_ufunc__ = None

    def __add__(self, other: Number) -> Tangent:
        if isinstance(other, Tangent):
            return Tangent(self.value + other.value, self.by + other.by)
        return Tangent(self.value + other, self.by)

    def __radd__(self, other: Number) -> Tangent:
        return self.__add__(other)

    def __neg__(self) -> Tangent:
        return Tangent(-self.value, -self.by)

    def __sub__(self, other: Number) -> Tangent:
        return self.__add__(-other)

    def __rsub__(self, other: Number) -> Tangent:
        return self.__neg__().__add__(other)

    def __mul__(self, other: Number) -> Tangent:
        if isinstance(other, Tangent):
            return Tangent(self.value * other.value, self.by * other.value + self.value * other.by)
        return Tangent(self.value * other, self.by * other)

    def __rmul__(self, other: Number) -> Tangent:
        return self.__mul__(other)

    def __truediv__(self, other: Number) -> Tangent:
        return self.__mul__(_reciprocal(other) if isinstance(other, Tangent) else 1 / other)

    def __rtruediv__(self, other: Number) -> Tangent:
        return _reciprocal(self).__mul__(other)

    def __pow__(self, power: float) -> Tangent:
        return through(self, self.value**power, power * self.value ** (power - 1))


def _reciprocal(x: Tangent) -> Tangent:
    """1/x."""
    inverse = 1 / x.value
    return through(x, inverse, -(inverse**2))


def through(x: Tangent, value: ComplexArray, slope: ComplexArray) -> Tangent:
    """A function of `x` with this `value` and `slope` at x: the chain rule."""
    return Tangent(value, slope * x.by)


def variables(*values: FloatArray | ComplexArray) -> tuple[Tangent, ...]:
    """Independent variables: the i-th carries the derivative 1 by the i-th parameter, 0 by the others.

    All need the same number of axes, so that values and derivatives broadcast alike.
    """
    found = []
    for index, value in enumerate(values):
        by = np.zeros((len(values), *np.shape(value)), complex)
        by[index] = 1.0
        found.append(Tangent(np.asarray(value, complex), by))
    return tuple(found)
