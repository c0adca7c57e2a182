"""What a lot was worth, from the ledger: what became of each reed, counted by hand, and what to order."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from canebench.base.pressure import PressureUnit, to_kpa
from canebench.bench.acts.reeds.reed_days import ease_reed, log_strength, play_reed
from canebench.bench.acts.reeds.stock import move_reed, take_in_lot
from canebench.bench.acts.upkeep.undo_act import undo_act
from canebench.bench.views.ahead.lot_worth import lot_worth
from canebench.store.ledger import Ledger, open_ledger
from doors.run import run
from support.ledgers import Clock, last_act

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.bench.views.ahead.lot_fates import ReedFate

_WHO = "tester"


@pytest.fixture
def ledger(tmp_path: Path, clock: Clock) -> Ledger:
    """A lot of ten for 80 marks: six settled, two did not, two are open; of the six one is worn out.

    1 to 6 settle after 60, 70, … 110 minutes of playing, within 4, 5, … 9 days. 1 is worn out at 60 + 540
    minutes, 2 was lost. 7 is set aside, 8 retired as too strong, 9 being played in, 10 new.
    """
    made = open_ledger(str(tmp_path / "ledger.db"), clock=clock)
    take_in_lot(made, who=_WHO, name="spring", count=10, price=80.0, currency="marks")
    for number in range(1, 7):
        _settle(made, clock, f"{number}", minutes=50.0 + 10.0 * number, days=3.0 + number)
    play_reed(made, "1", minutes=540.0, who=_WHO)
    move_reed(made, "1", to="retired", reason="leaks, gone soft", who=_WHO)
    move_reed(made, "2", to="retired", reason="Lost at the games", who=_WHO)
    move_reed(made, "7", to="set aside", reason="flat", who=_WHO)
    move_reed(made, "8", to="retired", reason="too strong", who=_WHO)
    move_reed(made, "9", to="breaking in", reason="begun", who=_WHO)
    play_reed(made, "9", minutes=30.0, who=_WHO)
    return made


def _settle(ledger: Ledger, clock: Clock, number: str, *, minutes: float, days: float) -> None:
    move_reed(ledger, number, to="breaking in", reason="begun", who=_WHO)
    play_reed(ledger, number, minutes=minutes, who=_WHO)
    clock.pass_days(days)
    move_reed(ledger, number, to="settled", reason="holds", who=_WHO)


def _fates(ledger: Ledger) -> dict[str, ReedFate]:
    return {one.reed.number: one for one in lot_worth(ledger, "spring").worth.fates}


def test_what_became_of_each_reed_is_what_the_ledger_tells(ledger: Ledger) -> None:
    fates = _fates(ledger)
    assert [fates[str(n)].settled for n in range(1, 11)] == [True] * 6 + [False, False, None, None]
    assert [n for n, one in fates.items() if one.worn_out] == ["1"]
    assert [fates[str(n)].break_in_min for n in range(1, 7)] == [60.0, 70.0, 80.0, 90.0, 100.0, 110.0]
    days = [fates[str(n)].days for n in range(1, 7)]
    assert days == [pytest.approx(d, abs=0.001) for d in (4, 5, 6, 7, 8, 9)]
    assert [fates[str(n)].minutes for n in (1, 2, 9, 10)] == [600.0, 70.0, 30.0, 0.0]
    assert fates["1"].said == "settled, worn out"
    assert fates["2"].said == "settled, gone"
    assert fates["10"].said == "open"


def test_the_figures_are_those_counted_by_hand(ledger: Ledger) -> None:
    told = lot_worth(ledger, "spring").worth.outcome
    assert (told.reeds, told.known, told.settled) == (10, 8, 6)
    assert told.settling.value == 0.75
    # Seven were played; six have not ended by 10 h, where the last at risk ends.
    assert (told.life.reeds, told.life.ended, told.life.median.value) == (7, 1, 10.0)
    assert told.break_in_min.value == 85.0
    # 80 marks for ten, three of four settle.
    assert told.cost is not None
    assert told.cost.value == pytest.approx(8.0 / 0.75)
    assert told.settling.low is not None
    assert told.cost.high == pytest.approx(8.0 / told.settling.low)


def test_a_move_taken_back_is_as_if_it_never_was(ledger: Ledger) -> None:
    move_reed(ledger, "9", to="settled", reason="holds", who=_WHO)
    moved = last_act(ledger)
    assert _fates(ledger)["9"].settled is True
    undo_act(ledger, moved, who=_WHO)
    assert _fates(ledger)["9"].settled is None
    # And what was taken back by mistake stands again.
    undo_act(ledger, last_act(ledger), who=_WHO)
    assert _fates(ledger)["9"].settled is True


def test_a_reed_put_back_to_be_played_in_is_open_again(ledger: Ledger, clock: Clock) -> None:
    move_reed(ledger, "3", to="breaking in", reason="drifts", who=_WHO)
    assert _fates(ledger)["3"].settled is None
    # The control: one that was put by as a spare, or set aside once settled, had settled all the same.
    move_reed(ledger, "4", to="spare", reason="for the case", who=_WHO)
    move_reed(ledger, "5", to="set aside", reason="another chanter", who=_WHO)
    assert [_fates(ledger)[n].settled for n in "45"] == [True, True]
    play_reed(ledger, "3", minutes=25.0, who=_WHO)
    clock.pass_days(1)
    move_reed(ledger, "3", to="settled", reason="holds now", who=_WHO)
    assert _fates(ledger)["3"].break_in_min == 105.0


def test_strength_counts_as_new(ledger: Ledger) -> None:
    log_strength(ledger, "3", {"onset": "24 inH2O", "playing": "30 inH2O"}, who=_WHO)
    log_strength(ledger, "3", {"onset": "20 inH2O"}, who=_WHO)
    log_strength(ledger, "4", {"onset": "26 inH2O"}, who=_WHO)
    ease_reed(ledger, "5", how="pinch", who=_WHO)
    log_strength(ledger, "5", {"onset": "12 inH2O"}, who=_WHO)
    # One that was read as it played counts by the share that reed 3 taught: near 0.8.
    log_strength(ledger, "6", {"playing": "30 inH2O"}, who=_WHO)
    fates = _fates(ledger)
    assert fates["3"].onset_kpa == pytest.approx(to_kpa(24.0, PressureUnit.INH2O))
    assert fates["5"].onset_kpa is None
    assert fates["6"].onset_kpa == pytest.approx(to_kpa(24.0, PressureUnit.INH2O), rel=0.02)


def test_what_to_order_is_what_the_lot_tells(ledger: Ledger) -> None:
    found = lot_worth(ledger, "spring", needed=10, by="2026-09-01").proposal
    assert found is not None
    # Settled are 3, 4, 5 and 6. At three in four, eight reeds give six 68 times in a hundred, nine 83.
    assert found.in_stock == 4
    assert found.order.reeds == 9
    assert found.order.chance == pytest.approx(0.834, abs=0.001)
    assert found.order.cautious is not None
    assert found.order.cautious > 9
    # Four in five of six is the fifth: eight days and some seconds make nine, and the post's fourteen.
    assert found.days_ahead == 23
    assert str(found.order.order_by) == "2026-08-09"
    late = lot_worth(ledger, "spring", needed=10, by="2026-04-10").proposal
    assert late is not None
    assert any("That day is past" in one for one in late.said)
    # The controls: enough is enough; and a day that can be kept is not past.
    enough = lot_worth(ledger, "spring", needed=4).proposal
    assert enough is not None
    assert enough.order.reeds == 0
    assert not any("past" in one for one in found.said)


def test_lots_side_by_side_say_no_more_than_they_know(ledger: Ledger, clock: Clock) -> None:
    take_in_lot(ledger, who=_WHO, name="autumn", count=10)
    found = lot_worth(ledger, "spring", against="autumn")
    assert "no reed has been seen through" in found.beside[0]
    for number in range(11, 21):
        move_reed(ledger, f"{number}", to="set aside", reason="flat", who=_WHO)
    # Eight are too few to call one the better.
    assert "cannot be told" in lot_worth(ledger, "spring", against="autumn").beside[0]
    # The control: once nine and more are known, seven of nine beside none of ten is more.
    _settle(ledger, clock, "10", minutes=60.0, days=5.0)
    assert "gave more settled reeds" in lot_worth(ledger, "spring", against="autumn").beside[0]


def test_the_command_says_it_in_words_and_json(ledger: Ledger, tmp_path: Path) -> None:
    take_in_lot(ledger, who=_WHO, name="autumn", count=3)
    at = ["--ledger", str(tmp_path / "ledger.db")]
    said = run("worth", "spring", "--need", "10", "--by", "2026-09-01", *at)
    assert said.exit_code == 0
    flat = " ".join(said.output.split())
    assert "6 of 8 reeds of lot spring settled in range" in flat
    assert "A lot of 8 says little" in flat
    assert "10.67 marks for a settled reed" in flat
    assert "Half live 10.0 h of playing" in flat
    assert "85 min until settled, the middle one of 6 of 6" in flat
    assert "Order 9 reeds by 2026-08-09" in flat
    told = json.loads(run("worth", "spring", "--need", "10", "--json", *at).output)
    assert told["lot"]["settling"]["value"] == 0.75
    assert told["lot"]["strength_sd_kpa"]["value"] is None
    assert told["order"]["reeds"] == 9
    assert told["order"]["order_by"] is None
    assert [one["settled"] for one in told["lot"]["each"]].count(True) == 6
    beside = run("worth", "autumn", "--against", "spring", *at)
    assert "nothing is known yet" in " ".join(beside.output.split())
    assert json.loads(run("worth", "autumn", "--against", "spring", "--json", *at).output)["against"]


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("spring", "--by", "2026-09-01"), 2, "--need"),
        (("spring", "--post", "3"), 2, "--need"),
        (("sprung",), 5, "spring"),
        (("spring", "--against", "spring"), 4, "two lots"),
        (("spring", "--need", "0"), 4, "1 to 500"),
        (("spring", "--need", "501"), 4, "500"),
        (("spring", "--need", "3", "--by", "tomorrow"), 4, "a date like"),
        (("spring", "--need", "3", "--post", "-1"), 4, "0 to 365"),
    ],
)
def test_what_will_not_do_is_said(
    ledger: Ledger, tmp_path: Path, arguments: tuple[str, ...], code: int, said: str
) -> None:
    del ledger
    result = run("worth", *arguments, "--ledger", str(tmp_path / "ledger.db"))
    assert result.exit_code == code
    assert said in result.stderr
