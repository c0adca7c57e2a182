"""The difference of two shares beside the published table."""

from __future__ import annotations

import pytest

from canebench.reeds.lots.shares import share_difference
from support.datasets import published

_SET = published("newcombe_1998")


@pytest.mark.parametrize("row", _SET.rows, ids=lambda row: f"{row['a']}/{row['m']}-{row['b']}/{row['n']}")
def test_method_ten(row: dict[str, str]) -> None:
    found = share_difference((int(row["a"]), int(row["m"])), (int(row["b"]), int(row["n"])), covers=0.95)
    allowed = _SET.number("half_a_digit")
    assert found.low == pytest.approx(float(row["low"]), abs=allowed)
    assert found.high == pytest.approx(float(row["high"]), abs=allowed)


def test_control_at_another_coverage_it_is_another() -> None:
    row = _SET.rows[0]
    found = share_difference((int(row["a"]), int(row["m"])), (int(row["b"]), int(row["n"])), covers=0.9)
    assert found.low != pytest.approx(float(row["low"]), abs=0.01)
