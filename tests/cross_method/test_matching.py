"""The cheapest match of rows to columns, beside SciPy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment

from canebench.reeds.lots.matching import cheapest_columns


def _cost(seed: int) -> np.ndarray:
    """Of 1 to 30 rows; every third with many equal costs, every other with some a million times dearer."""
    rng = np.random.default_rng(seed)
    rows = int(rng.integers(1, 31))
    cost = rng.uniform(0.0, 3.0, (rows, rows + int(rng.integers(0, 40))))
    if seed % 3 == 0:
        cost = np.round(cost)
    return cost + 3e6 * (rng.random(cost.shape) < 0.6) * (seed % 2)


@pytest.mark.parametrize("seed", range(40))
def test_no_match_is_cheaper(seed: int) -> None:
    cost = _cost(seed)
    found = cheapest_columns(cost)
    assert len(set(found.tolist())) == len(cost)
    least = cost[linear_sum_assignment(cost)].sum()
    assert cost[np.arange(len(cost)), found].sum() == pytest.approx(least, rel=1e-12, abs=1e-9)


def test_control_row_by_row_is_dearer() -> None:
    """What gives each row in turn the cheapest column left is dearer in most."""
    dearer = 0
    for seed in range(40):
        cost, total = _cost(seed), 0.0
        left = np.ones(cost.shape[1], dtype=bool)
        for row in cost:
            column = int(np.argmin(np.where(left, row, np.inf)))
            left[column] = False
            total += row[column]
        dearer += total > cost[linear_sum_assignment(cost)].sum() + 1e-6
    assert dearer > 15


def test_no_rows_have_no_columns() -> None:
    assert cheapest_columns(np.zeros((0, 3))).tolist() == []
