"""Which reed for a player: slightly stronger than they blow now. Common practice, no source."""

from __future__ import annotations

from canebench.base.uncertain import Uncertain
from canebench.reeds.choice import Candidate, choose


def _reed(number: str, kpa: float | None, **more: float) -> Candidate:
    strength = None if kpa is None else Uncertain(value=kpa, sd=0.12)
    return Candidate(number=number, playing_kpa=strength, **more)


def test_a_little_above_present_strength_is_first() -> None:
    found = choose([_reed("1", 6.0), _reed("2", 7.6), _reed("3", 9.5)], blows_kpa=7.0, ceiling_kpa=None)
    assert found[0].number == "2"
    assert found[0].verdict == "suits now"
    verdicts = {one.number: one.verdict for one in found}
    assert verdicts["1"].startswith("too easy")
    assert "later" in verdicts["3"]


def test_a_reed_above_the_ceiling_is_never_recommended() -> None:
    for one in choose([_reed("1", 7.6), _reed("2", 7.4)], blows_kpa=7.0, ceiling_kpa=7.5):
        assert (one.verdict == "leave for another") is (one.number == "1")


def test_balance_decides_between_equals() -> None:
    found = choose(
        [_reed("1", 7.6, tilt_cents=25.0), _reed("2", 7.6, tilt_cents=2.0)], blows_kpa=7.0, ceiling_kpa=None
    )
    assert [one.number for one in found] == ["2", "1"]
    assert "octave" in " ".join(found[1].reasons)


def test_ties_and_what_is_missing_are_said() -> None:
    found = choose([_reed("1", 7.6), _reed("2", 7.6), _reed("3", None)], blows_kpa=7.0, ceiling_kpa=None)
    assert found[0].tied_with == ("2",)
    assert found[0].missing == ("balance", "pitch")
    assert found[-1].number == "3"
    assert found[-1].verdict == "grade it first"
    assert found[-1].missing[0] == "strength"
