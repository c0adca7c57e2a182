"""The cheapest match of rows to columns, one column a row: the linear assignment problem.

By shortest augmenting paths with potentials (Jonker and Volgenant 1987). Guarded by
`tests/cross_method/test_matching.py`, against SciPy's.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray, IntArray


def cheapest_columns(cost: FloatArray) -> IntArray:
    """Match every row to a column of its own so that the sum of costs is least.

    Parameters
    ----------
    cost : array (rows, columns)
        Finite, no more rows than columns.

    Returns
    -------
    columns : array (rows,)
        The column of each row.
    """
    rows, columns = cost.shape
    row_price, column_price = np.zeros(rows), np.zeros(columns)
    # -1 where a column is nobody's yet, and a row has none.
    owner, found = np.full(columns, -1), np.full(rows, -1)
    for new in range(rows):
        shortest, before = np.full(columns, np.inf), np.full(columns, -1)
        done = np.zeros(columns, dtype=bool)
        row, reached, end = new, 0.0, -1
        while end < 0:
            length = reached + cost[row] - row_price[row] - column_price
            nearer = ~done & (length < shortest)
            shortest[nearer], before[nearer] = length[nearer], row
            nearest = int(np.argmin(np.where(done, np.inf, shortest)))
            reached = float(shortest[nearest])
            done[nearest] = True
            row = int(owner[nearest])
            end = nearest if row < 0 else end
        # Prices make each column on the way as cheap for its row as any other is.
        taken = np.flatnonzero(done & (owner >= 0))
        row_price[new] += reached
        row_price[owner[taken]] += reached - shortest[taken]
        column_price[done] -= reached - shortest[done]
        # Back along the way each row gives its column to the row before it.
        while end >= 0:
            row = int(before[end])
            owner[end] = row
            found[row], end = end, int(found[row])
    return found
