"""Pinches are counted for life: one is normal, three are the most. Common practice, no source."""

from __future__ import annotations

import pytest

from canebench.reeds.eases import left, said


@pytest.mark.parametrize(("pinches", "still"), [(0, 3), (1, 2), (2, 1), (3, 0), (5, 0)])
def test_how_many_are_left(pinches: int, still: int) -> None:
    assert left(pinches) == still


def test_after_the_third_no_more_is_recommended() -> None:
    assert "normal" in said(1)
    assert "No further pinch" in said(3)
    assert "more than a reed bears" in said(4)
    for pinches in range(3):
        assert "No further" not in said(pinches)
