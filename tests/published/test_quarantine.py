"""How long a reed rests, against how long bacteria were found to live on reeds."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from canebench.base.errors import InputError
from canebench.care.quarantine import CAUTIOUS_REST_H, REST_H, MouthTest, rests_until
from support.datasets import published

_FOUND = {row["what"]: float(row["longest_h"]) for row in published("marshall_levy_2011").rows}
_TEST = MouthTest(reed="12", player="player one", at=datetime(2031, 5, 4, 18, 30, tzinfo=UTC))


def test_the_rests_are_those_that_most_test_bacteria_did_not_outlive() -> None:
    assert _FOUND["most test bacteria on reeds"] == REST_H
    assert _FOUND["simulated play"] == CAUTIOUS_REST_H
    assert rests_until(_TEST) - _TEST.at == timedelta(hours=REST_H)
    assert rests_until(_TEST, rest_h=CAUTIOUS_REST_H) - _TEST.at == timedelta(days=5)


def test_the_longest_found_may_be_asked_for_and_less_than_the_least_may_not() -> None:
    longest_h = _FOUND["mycobacterium on reeds"]
    assert rests_until(_TEST, rest_h=longest_h) - _TEST.at == timedelta(days=13)
    with pytest.raises(InputError, match="from 48 to 8760 h is allowed"):
        rests_until(_TEST, rest_h=REST_H - 1)
