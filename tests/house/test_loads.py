"""Full loads are asked for by an option; without it each test does fewer of the same."""

from __future__ import annotations

import pytest

from support import loads
from support.loads import load_fully, times


def test_the_option_asks_for_all(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = request.config.getoption("full_loads")
    assert times(9, usual=2) == (9 if asked else 2)
    monkeypatch.setattr(loads, "_ASKED", set())
    assert times(9, usual=2) == 2
    load_fully()
    assert times(9, usual=2) == 9


@pytest.mark.parametrize("usual", [0, 9, 10])
def test_control_a_usual_load_that_is_none_or_no_smaller_is_noticed(usual: int) -> None:
    with pytest.raises(ValueError, match="no smaller load"):
        times(9, usual=usual)
