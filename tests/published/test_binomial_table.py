"""The chance of enough reeds beside printed tables."""

from __future__ import annotations

import pytest

from canebench.reeds.lots.reorder import chance_of_enough
from support.datasets import published

_SET = published("binomial_table")


@pytest.mark.parametrize("row", _SET.rows, ids=lambda row: f"{row['n']}-{row['p']}-{row['x']}")
def test_at_least_is_one_less_at_most(row: dict[str, str]) -> None:
    found = chance_of_enough(int(row["x"]) + 1, int(row["n"]), float(row["p"]))
    assert found == pytest.approx(1 - float(row["at_most"]), abs=_SET.number("half_a_digit"))
    other = chance_of_enough(int(row["x"]), int(row["n"]), float(row["p"]))
    assert other != pytest.approx(1 - float(row["at_most"]), abs=0.01), "control"
