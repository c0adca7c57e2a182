"""What `benchmarks/faults --soak` judges by: what grows is told from what wavers, and it does its work."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING, Final

import pytest

from breaking.soak import LIMITS, slope_of, soak

if TYPE_CHECKING:
    from pathlib import Path

_AT_S: Final = [5.0 * n for n in range(180)]


def _wavering(seed: int, *, by: float) -> list[float]:
    """Neighbours go together: it wanders, and comes back."""
    chance, found, now = random.Random(seed), [], 0.0  # noqa: S311
    for _ in _AT_S:
        now = 0.8 * now + chance.gauss(0.0, by)
        found.append(200.0 + now)
    return found


@pytest.mark.parametrize("an_hour", [0.0, 150.0])
def test_a_leak_is_told_from_wavering(an_hour: float) -> None:
    """Of a hundred runs of a quarter of an hour: without a leak few are called one, with one nearly all."""
    told = 0
    for seed in range(100):
        figures = [one + an_hour * at / 3_600 for one, at in zip(_wavering(seed, by=2.0), _AT_S, strict=True)]
        told += slope_of(_AT_S, figures).rises(LIMITS["memory MB"])
    assert told <= 5 if not an_hour else told >= 95


def test_the_slope_is_that_of_the_line() -> None:
    found = slope_of(_AT_S, [3.0 + 7.0 * at / 3_600 for at in _AT_S])
    assert found.an_hour == pytest.approx(7.0)
    assert found.sd == pytest.approx(0.0, abs=1e-9)


def test_what_so_short_a_run_cannot_tell_is_called_neither() -> None:
    """What wavers by more than the limit is seldom called either; what hardly wavers is called flat."""
    limit = LIMITS["memory MB"]
    wild = [slope_of(_AT_S, _wavering(seed, by=60.0)) for seed in range(50)]
    assert sum(one.rises(limit) for one in wild) <= 5
    assert sum(one.is_flat(limit) for one in wild) <= 15
    assert all(slope_of(_AT_S, _wavering(seed, by=0.5)).is_flat(limit) for seed in range(50))


def test_what_rises_while_it_warms_up_is_no_leak() -> None:
    figures = [min(at, 200.0) for at in _AT_S]
    assert not slope_of(_AT_S, figures).rises(1.0)


def test_every_kind_of_work_is_done_and_none_fails(tmp_path: Path) -> None:
    """Too short to judge what grows."""
    line = soak(tmp_path, minutes=0.4, seed=1)
    assert (line.bad["failures"], line.bad["damages"]) == (0, 0), line
    assert all(int(line.seen[name]) >= 1 for name in ("pages", "acts", "takes", "streams")), line
