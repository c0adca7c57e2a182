"""A disk whose every write takes its time: no act lost or there twice, no page late without a word.

What must not be is shown to be seen where it is: a few acts of each control. The kind itself is run by
`test_breaking` in short, and by `benchmarks/faults slow` with half a second for a write.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from support.slow_bench import Speed, outcome_of

if TYPE_CHECKING:
    from pathlib import Path


_SLOW: Final = Speed(least_s=0.005, most_s=0.05)


def test_control_acts_told_before_they_are_kept_are_lost(tmp_path: Path) -> None:
    found = outcome_of(tmp_path, _SLOW, acts=4, seed=1, how="early")
    assert found.lost == 4


def test_control_acts_sent_again_are_there_twice(tmp_path: Path) -> None:
    found = outcome_of(tmp_path, _SLOW, acts=2, seed=1, again=True)
    assert found.twice == 2


def test_where_less_is_waited_for_pages_and_acts_are_told_so(tmp_path: Path) -> None:
    """Which is the control too: such a disk does hold pages up, and a lesser limit would be met."""
    found = outcome_of(tmp_path, Speed(least_s=0.02, most_s=0.05, wait_s=0.05), acts=8, seed=1)
    assert found.seen.pages_told > 0
    assert (found.seen.amiss, found.lost, found.twice, found.lies) == ([], 0, 0, 0)
