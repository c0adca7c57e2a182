"""The best plan there is, by another's solver: every session of every reed on every day as a yes or no.

It takes what is to be placed (`Work`) and shares no code with how that is placed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

if TYPE_CHECKING:
    from canebench.reeds.breaking_in.jobs import Work


class _Rows:
    """Rows of a sparse matrix with their upper and lower sides."""

    def __init__(self) -> None:
        self.row: list[int] = []
        self.column: list[int] = []
        self.value: list[float] = []
        self.low: list[float] = []
        self.high: list[float] = []

    def add(self, terms: list[tuple[int, float]], low: float, high: float) -> None:
        for column, value in terms:
            self.row.append(len(self.low))
            self.column.append(column)
            self.value.append(value)
        self.low.append(low)
        self.high.append(high)


def most_reeds(work: Work, *, seconds: float = 60.0) -> tuple[int, float]:
    """How many reeds the best plan has, as found, and what the solver proves that none exceeds."""
    if not work.jobs:
        return 0, 0.0
    pairs = list(work.jobs)
    given = {pair: place for place, pair in enumerate(pairs)}
    at: dict[tuple[tuple[int, int], int, int], int] = {}
    for pair, job in work.jobs.items():
        days = work.days[pair[1]]
        for session, length in enumerate(job.lengths):
            for day in range(job.first, len(days.dates)):
                if days.minutes[day] >= length:
                    at[pair, session, day] = len(pairs) + len(at)
    rows = _rows(work, given, at)
    count = len(pairs) + len(at)
    matrix = csr_array((rows.value, (rows.row, rows.column)), shape=(len(rows.low), count))
    worth = np.zeros(count)
    worth[: len(pairs)] = -1.0
    found = milp(
        worth,
        constraints=LinearConstraint(matrix, rows.low, rows.high),
        bounds=Bounds(0, 1),
        integrality=np.ones(count),
        options={"time_limit": seconds},
    )
    return (0 if found.x is None else round(-found.fun)), float(-(found.mip_dual_bound or -99))


def _rows(
    work: Work, given: dict[tuple[int, int], int], at: dict[tuple[tuple[int, int], int, int], int]
) -> _Rows:
    rows = _Rows()
    for pair, place in given.items():
        job, days = work.jobs[pair], work.days[pair[1]]
        for session in range(len(job.lengths)):
            own = {
                day: at[pair, session, day] for day in range(len(days.dates)) if (pair, session, day) in at
            }
            rows.add([(one, 1.0) for one in own.values()] + [(place, -1.0)], 0.0, 0.0)
            if session == 0:
                continue
            for day in range(len(days.dates)):
                # By then the session has been had only if the one before it was, and has rested.
                had = [(one, 1.0) for other, one in own.items() if other <= day]
                earlier = [
                    (at[pair, session - 1, other], -1.0)
                    for other in range(day)
                    if (pair, session - 1, other) in at and days.after[other] <= day
                ]
                if had:
                    rows.add(had + earlier, -np.inf, 0.0)
    for reed in {reed for reed, _ in given}:
        rows.add([(place, 1.0) for pair, place in given.items() if pair[0] == reed], 0.0, 1.0)
    for player, days in enumerate(work.days):
        rows.add([(place, 1.0) for pair, place in given.items() if pair[1] == player], 0.0, work.caps[player])
        for day, minutes in enumerate(days.minutes):
            held = [(key, one) for key, one in at.items() if key[0][1] == player and key[2] == day]
            rows.add([(one, work.jobs[key[0]].lengths[key[1]]) for key, one in held], 0.0, minutes)
            rows.add([(one, 1.0) for _, one in held], 0.0, days.most)
    return rows
