"""What was foretold beside what was read: what counts, how often it held, and in which room."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.reeds.people import set_player
from canebench.bench.acts.reeds.reed_days import ease_reed, log_strength, play_reed
from canebench.bench.acts.reeds.stock import take_in_lot
from canebench.bench.views.ahead import kept_word as module
from canebench.bench.views.ahead.kept_word import kept_word
from canebench.reeds.forecasts.reliability import Bearing
from canebench.store.ledger import Ledger, open_ledger
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.store.tables import Row
    from support.ledgers import Clock

_WHO = "tester"


@pytest.fixture
def ledger(tmp_path: Path, clock: Clock) -> Ledger:
    """Six reeds of one lot, each read twice; then twelve days went by."""
    made = open_ledger(str(tmp_path / "ledger.db"), clock=clock)
    take_in_lot(made, who=_WHO, name="spring", count=6)
    set_player(made, "Isla", who=_WHO, blows="28 inH2O", ceiling="32 inH2O")
    for number in "123456":
        for playing in (30.0, 29.6):
            play_reed(made, number, minutes=15.0, who=_WHO)
            log_strength(made, number, {"playing": f"{playing} inH2O"}, who=_WHO)
            clock.pass_days(1.5)
    clock.pass_days(12)
    return made


def _read(ledger: Ledger, numbers: str, playing: float = 29.4) -> None:
    for number in numbers:
        log_strength(ledger, number, {"playing": f"{playing} inH2O"}, who=_WHO)


def test_forecasts_whose_day_has_come_stand_beside_what_was_read(ledger: Ledger, clock: Clock) -> None:
    assert kept_word(ledger).said == ()
    _read(ledger, "12345")
    # The control: one that went a way that nobody could foretell.
    _read(ledger, "6", 50.0)
    kept = kept_word(ledger)
    by_reed = {one.reed: one.within_95 for one in kept.said}
    assert by_reed == {**dict.fromkeys("12345", True), "6": False}
    assert [one.what for one in kept.held] == ["strength"]
    assert kept.held[0].said == (
        "Of 6 readings, 5 fell inside the 80 % range: too few to tell; "
        "5 fell inside the 95 % range: too few to tell."
    )
    # Asked a few days later, the same are scored: weeks are the calendar's, not counted back from now.
    clock.pass_days(3.4)
    assert kept_word(ledger) == kept


def test_each_range_counts_the_readings_that_fell_inside(ledger: Ledger) -> None:
    _read(ledger, "1234")
    _read(ledger, "5", 32.0)
    _read(ledger, "6", 50.0)
    kept = kept_word(ledger)
    places = [one.place for one in kept.said]
    for level in kept.held[0].levels:
        assert level.inside == sum(abs(place - 0.5) <= level.stated / 200.0 for place in places)
        assert level.of == 6
    narrow, *_, wide = kept.held[0].levels
    assert narrow.inside < wide.inside == 5


def test_a_pinch_in_between_is_no_forecasts_fault(ledger: Ledger) -> None:
    ease_reed(ledger, "1", how="pinch", who=_WHO)
    _read(ledger, "12")
    assert [one.reed for one in kept_word(ledger).said] == ["2"]


def _take(ledger: Ledger, reed: int, cents: float, *, room_degc: float | None) -> None:
    """Low A so far above 470 Hz, high A an octave above it."""
    low_a = 470.0 * 2.0 ** (cents / 1200.0)
    with ledger.act("take", who=_WHO, said="x") as act:
        told: Row = {"reed_id": reed, "at": act.at, "origin": "typed", "source": "typed", "scale": "harmonic"}
        told |= {"reference": "fixed", "reference_hz": 470.0, "room_degc": room_degc}
        take = act.insert("takes", told)
        for note, hz in (("low A", low_a), ("high A", 2.0 * low_a)):
            act.insert("pitches", {"take_id": take, "note": note, "hz": hz})


def test_low_a_is_held_against_the_room_in_which_it_was_read(tmp_path: Path, clock: Clock) -> None:
    """A room of 32 °C makes some 20 cents; where that was not told, the forecast seems to have failed."""
    ledger = open_ledger(str(tmp_path / "rooms.db"), clock=clock)
    take_in_lot(ledger, who=_WHO, name="spring", count=4)
    for _ in range(3):
        for reed in (1, 2, 3, 4):
            _take(ledger, reed, 0.0, room_degc=20.0)
        clock.pass_days(1)
    clock.pass_days(12)
    _take(ledger, 1, 20.0, room_degc=32.0)
    _take(ledger, 2, 20.0, room_degc=None)
    kept = kept_word(ledger)
    low_a = {one.reed: one for one in kept.said if one.what == "low_a"}
    assert low_a["1"].within_80
    assert not low_a["2"].within_95
    assert low_a["1"].read == "475.5 Hz"
    assert {one.reed for one in kept.said if one.what == "tilt"} == {"1", "2"}
    assert [one.what for one in kept.held] == ["low_a", "tilt"]


def test_another_reading_costs_its_own_week_alone(ledger: Ledger, clock: Clock) -> None:
    _read(ledger, "12")
    first = kept_word(ledger)
    clock.pass_days(7)
    _read(ledger, "3")
    before = module._scored.cache_info()
    found = kept_word(ledger)
    after = module._scored.cache_info()
    assert after.misses == before.misses + 1
    assert found.said[1:] == first.said
    # The control: with nothing kept each week is worked out anew, and says the same.
    module._scored.cache_clear()
    assert kept_word(ledger) == found
    assert module._scored.cache_info().misses > 1


def test_no_more_weeks_than_are_needed(ledger: Ledger, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    for _ in range(3):
        _read(ledger, "123")
        clock.pass_days(7)
    assert len(kept_word(ledger).said) == 9
    monkeypatch.setattr(module, "ENOUGH", 4)
    assert len(kept_word(ledger).said) == 6
    monkeypatch.setattr(module, "SPANS", 1)
    assert len(kept_word(ledger).said) == 3


def test_the_command_says_it_in_words_and_json(ledger: Ledger, clock: Clock, tmp_path: Path) -> None:
    for _ in range(2):
        _read(ledger, "123456")
        clock.pass_days(7)
    at = ["--ledger", str(tmp_path / "ledger.db")]
    told = json.loads(run("forecast", "--kept", "--json", *at).output)
    levels = {one["stated"]: one for one in told["held"][0]["levels"]}
    said = run("forecast", "--kept", *at).output
    eighty = levels[80]
    assert eighty["of"] == 12
    assert eighty["bears_out"] in list(Bearing)
    assert eighty["share"]["low"] < 0.8
    assert f"80 %   {eighty['inside']} of 12" in said
    assert told["held"][0]["said"] in " ".join(said.split())
    assert "Wilson" in said
