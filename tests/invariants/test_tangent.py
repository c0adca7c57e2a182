"""Numbers with derivatives obey the rules of differentiation, whatever stands on either side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.bore.autodiff import Tangent, through, variables

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import ComplexArray
    from canebench.bore.autodiff import Number

#: Away from 0, and from the negative axis, where powers have their cut.
_SIZE = st.floats(0.3, 3.0)
_ANGLE = st.floats(-1.5, 1.5)
_COMPLEX = st.builds(lambda size, angle: complex(size * np.exp(1j * angle)), _SIZE, _ANGLE)
_STEP = 1e-5

#: Each rule of two variables.
RULES: dict[str, Callable[[Number, Number], Number]] = {
    "sum": lambda x, y: x + y,
    "sum with a number": lambda x, y: 2 + x + y + 1j,
    "difference": lambda x, y: x - y,
    "number less": lambda x, y: 1.5 - x - y,
    "minus": lambda x, y: -x + -y,
    "product": lambda x, y: x * y,
    "product with a number": lambda x, y: 3j * x * y * 0.5,
    "quotient": lambda x, y: x / y,
    "number over": lambda x, y: 2 / x + 1j / y,
    "over a number": lambda x, y: x / 4 + y / 2j,
    "square root": lambda x, y: x**0.5 + y**0.5,
    "powers": lambda x, y: x**3 + y**-1.5,
    "together": lambda x, y: (x * x - y) / (1 + x * y**0.5) ** 2,
}


def _quotients(
    rule: Callable[[Number, Number], Number], x: ComplexArray, y: ComplexArray
) -> list[ComplexArray]:
    """Difference quotients along a slanted step: of an analytic function, any direction gives the same."""
    step = _STEP * np.exp(0.7j)
    by_x = (rule(x + step, y) - rule(x - step, y)) / (2 * step)
    by_y = (rule(x, y + step) - rule(x, y - step)) / (2 * step)
    return [by_x, by_y]


def _off(rule: Callable[[Number, Number], Number], x: complex, y: complex) -> tuple[float, float]:
    """Largest difference of value and of derivatives, over their size."""
    first, second = np.array([x]), np.array([y])
    found = rule(*variables(first, second))
    true, slopes = rule(first, second), np.array(_quotients(rule, first, second))
    assert isinstance(found, Tangent)
    value = np.max(np.abs(found.value - true)) / (1 + np.max(np.abs(true)))
    by = np.max(np.abs(found.by - slopes)) / (1 + np.max(np.abs(slopes)))
    return float(value), float(by)


@pytest.mark.parametrize("name", list(RULES))
@given(x=_COMPLEX, y=_COMPLEX)
def test_derivatives_are_difference_quotients(name: str, x: complex, y: complex) -> None:
    value, by = _off(RULES[name], x, y)
    assert value < 1e-12
    assert by < 1e-6


def test_control_a_product_without_its_second_term_is_caught() -> None:
    def wrong(x: Number, y: Number) -> Number:
        if isinstance(x, Tangent):
            return Tangent(x.value * y.value, x.by * y.value)
        return x * y

    value, by = _off(wrong, 1.2 + 0.3j, 0.7 - 0.1j)
    assert value < 1e-12
    assert by > 1e-2


@given(x=_COMPLEX, y=_COMPLEX)
def test_a_product_over_one_factor_is_the_other(x: complex, y: complex) -> None:
    first, second = variables(np.array([x]), np.array([y]))
    back = first * second / second
    assert np.allclose(back.value, first.value, rtol=1e-12)
    assert np.allclose(back.by, first.by, atol=1e-11)


@given(x=_COMPLEX)
def test_a_root_squared_is_the_number(x: complex) -> None:
    (tangent,) = variables(np.array([x]))
    root = tangent**0.5
    assert np.allclose((root * root).by, tangent.by, atol=1e-12)


LEFT: dict[str, Number] = {
    "array": np.array([1.0, 2.0, 3.0]),
    "complex array": np.array([1j, 2.0, 3.0 - 1j]),
    "number of NumPy": np.float64(2.5),
    "complex of NumPy": np.complex128(2.5j),
    "float": 2.5,
}


@pytest.mark.parametrize("name", list(LEFT))
def test_an_array_on_the_left_leaves_the_work_to_the_tangent(name: str) -> None:
    """Not an array of objects: each operator as with the two exchanged."""
    left = LEFT[name]
    (x,) = variables(np.array([0.5, 1.5 + 1j, 2.5]))
    pairs = (
        (left + x, x + left),
        (left - x, -(x - left)),
        (left * x, x * left),
        (left / x, (x / left) ** -1.0),
    )
    for found, turned in pairs:
        assert isinstance(found, Tangent)
        assert found.value.shape == (3,)
        assert found.by.shape == (1, 3)
        assert np.allclose(found.value, turned.value)
        assert np.allclose(found.by, turned.by)


def test_control_an_array_that_does_not_know_makes_objects() -> None:
    """What happens to a class without the word to NumPy that `Tangent` gives."""

    class Mute:
        def __rmul__(self, other: object) -> str:
            return "mine"

    assert (np.array([1.0, 2.0]) * Mute()).dtype == object


def test_variables_carry_one_by_themselves_and_nothing_by_the_others() -> None:
    x, y = variables(np.ones((2, 1), complex), np.ones((1, 3), complex))
    assert x.by.shape == (2, 2, 1)
    assert np.all(x.by[0] == 1)
    assert np.all(x.by[1] == 0)
    assert (x * y).by.shape == (2, 2, 3)


def test_chain_rule_through_a_function() -> None:
    (x,) = variables(np.array([0.3 + 0.2j, 1.0]))
    outer = through(x * x, np.exp((x * x).value), np.exp((x * x).value))
    assert np.allclose(outer.by[0], 2 * x.value * np.exp(x.value**2))


def test_operands_are_left_as_they_were() -> None:
    value = np.array([1.0 + 0j, 2.0])
    x, y = variables(value, value)
    (x + y) * x / y - 2.0
    assert np.array_equal(value, [1.0, 2.0])
    assert np.array_equal(x.value, [1.0, 2.0])
    assert np.array_equal(y.by, [[0, 0], [1, 1]])
