"""What is said of lots: few reeds say little, and no lot is called better than it is known to be."""

from __future__ import annotations

from dataclasses import replace

import pytest

from canebench.base.errors import InputError
from canebench.reeds.lots.outcome import LotReed, lot_comparison, lot_outcome


def _lot(settled: int, of: int, *, strength_kpa: float = 5.0) -> list[LotReed]:
    return [
        LotReed(
            number=str(n),
            settled=n < settled,
            strength_kpa=strength_kpa + 0.1 * (n % 5),
            break_in_min=100.0 + n if n < settled else None,
            lived_h=10.0 + n,
            worn_out=n % 3 == 0,
        )
        for n in range(of)
    ]


def test_a_lot_of_three_says_little() -> None:
    told = lot_outcome("oak", _lot(2, 3))
    assert told.said.startswith("2 of 3 reeds of lot oak settled in range: between 2")
    assert told.said.endswith("A lot of 3 says little: the next may be quite another.")
    assert told.break_in_min.low is None


def test_a_dozen_is_a_rough_guess_and_thirty_need_no_warning() -> None:
    assert lot_outcome("oak", _lot(8, 12)).said.endswith("From 12 reeds that is a rough guess.")
    assert lot_outcome("oak", _lot(20, 30)).said.endswith("90% sure.")


def test_of_an_open_lot_nothing_is_said() -> None:
    told = lot_outcome("oak", [LotReed(number="1"), LotReed(number="2")], price_each=9.0)
    assert "nothing is known yet" in told.said
    assert told.cost is not None
    assert told.cost.high is None


def test_reeds_still_open_are_in_neither_count() -> None:
    told = lot_outcome("oak", [*_lot(6, 10), LotReed(number="open")])
    assert (told.reeds, told.known, told.settled) == (11, 10, 6)


def test_what_a_settled_reed_costs_is_the_price_over_the_yield() -> None:
    told = lot_outcome("oak", _lot(6, 12), price_each=10.0)
    assert told.cost is not None
    assert told.cost.value == 20.0
    assert told.cost.low == pytest.approx(10.0 / (told.settling.high or 0.0))
    assert told.cost.high == pytest.approx(10.0 / (told.settling.low or 0.0))


def test_a_lot_is_called_better_only_where_that_is_known() -> None:
    clear = lot_comparison(("oak", _lot(28, 30)), ("ash", _lot(9, 30)))
    assert clear.said.startswith("Lot oak gave more settled reeds than lot ash (+")
    turned = lot_comparison(("ash", _lot(9, 30)), ("oak", _lot(28, 30)))
    assert turned.said.startswith("Lot oak gave more settled reeds than lot ash (−")
    few = lot_comparison(("oak", _lot(3, 3)), ("ash", _lot(1, 3)))
    assert few.said.startswith("Which of the two gives more settled reeds cannot be told")
    assert few.said.endswith("From a lot of 3 that says little.")


@pytest.mark.parametrize(
    ("reeds", "match"),
    [
        (lambda: [LotReed(number="1"), LotReed(number="1")], "Nearest that works: 1-2 for the other"),
        (lambda: [LotReed(number="1", strength_kpa=-5.0)], r"strength of reed 1: -5.*works: 5\."),
        (lambda: [LotReed(number="1", break_in_min=float("nan"))], "minutes of breaking in of reed 1"),
        (lambda: [replace(_lot(1, 1)[0], settled=False)], "not settled was given"),
    ],
)
def test_what_cannot_be_is_refused(reeds: object, match: str) -> None:
    assert callable(reeds)
    with pytest.raises(InputError, match=match):
        lot_outcome("oak", reeds())
