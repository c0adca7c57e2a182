"""A share, and the difference of two, beside the published tables."""

from __future__ import annotations

import math

import pytest

from canebench.reeds.lots.shares import share, share_difference
from support.datasets import published

_SET = published("newcombe_1998")
_SINGLE = published("newcombe_1998_single")


@pytest.mark.parametrize("row", _SINGLE.rows, ids=lambda row: f"{row['hits']}/{row['of']}")
def test_wilsons_interval(row: dict[str, str]) -> None:
    found = share(int(row["hits"]), int(row["of"]), covers=0.95)
    allowed = _SINGLE.number("half_a_digit")
    assert found.low == pytest.approx(float(row["low"]), abs=allowed)
    assert found.high == pytest.approx(float(row["high"]), abs=allowed)


def test_control_the_normal_interval_about_the_share_itself_is_another() -> None:
    """Wald's: of 81 of 263 it begins and ends lower."""
    row = _SINGLE.rows[0]
    part = int(row["hits"]) / int(row["of"])
    half = 1.96 * math.sqrt(part * (1.0 - part) / int(row["of"]))
    assert part - half < float(row["low"]) - 0.002
    assert part + half < float(row["high"]) - 0.001


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
