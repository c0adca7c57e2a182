"""Whatever the nine deviations: exactly one act, complete, and never an unsafe word."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE
from canebench.base.uncertain import Uncertain
from canebench.fitting.acts import Act
from canebench.fitting.balance import Deviation
from canebench.fitting.next_act import Against, next_act
from canebench.fitting.tolerance import chances_beyond, judge

CENTS = st.floats(-120, 120)
AGAINST = st.sampled_from(["drones", "low-a", "fixed"])
#: Acts that change something; none of them may rest on a value that cannot be told from tolerance.
_CHANGES = {Act.SEAT_DEEPER, Act.RAISE_WITH_HEMP, Act.TAPE, Act.MOVE_THE_DRONES, Act.SET_ASIDE}


@st.composite
def takes(draw: st.DrawFn, sd: st.SearchStrategy[float] | None = None) -> dict[str, Deviation]:
    played = draw(st.sets(st.sampled_from(NOTES)))
    spread = draw(st.sampled_from([3.0, 12.0, 120.0]))
    return {
        note: Deviation(
            cents=draw(st.floats(-spread, spread)),
            sd_cents=draw(st.floats(0, 20) if sd is None else sd),
            interval_cents=DEFAULT_SCALE.cents(note),
        )
        for note in NOTES
        if note in played or len(played) > 6
    }


@given(takes(), AGAINST, st.floats(0, 20))
def test_one_complete_act(deviations: dict[str, Deviation], against: Against, reference_sd: float) -> None:
    act = next_act(deviations, against=against, reference_sd_cents=reference_sd)
    words = " ".join([act.say, act.why, act.check, act.stop, *act.cautions])
    assert all([act.say, act.why, act.check, act.stop])
    assert "nan" not in words
    assert "  " not in words
    for unsafe in ("blow", "harder", "push through"):
        assert unsafe not in words.lower()


@given(takes(sd=st.just(60.0)), AGAINST)
def test_nothing_is_changed_on_a_guess(deviations: dict[str, Deviation], against: Against) -> None:
    """With an uncertainty of 60 cents, nothing within 120 can be told from a tolerance with decent odds."""
    small = {
        note: Deviation(cents=d.cents / 12, sd_cents=d.sd_cents, interval_cents=d.interval_cents)
        for note, d in deviations.items()
    }
    act = next_act(small, against=against, reference_sd_cents=0.0).act
    assert act in {Act.MEASURE_AGAIN, Act.PLAY_THE_OCTAVE}


@given(takes(sd=st.just(math.inf)), AGAINST)
def test_an_unknown_uncertainty_decides_nothing(deviations: dict[str, Deviation], against: Against) -> None:
    assert next_act(deviations, against=against, reference_sd_cents=0.0).act not in _CHANGES


@given(takes(), st.sampled_from(["drones", "low-a"]), CENTS)
def test_where_the_drones_can_follow_height_never_moves_the_reed(
    deviations: dict[str, Deviation], against: Against, shift: float
) -> None:
    moved = {
        note: Deviation(cents=d.cents + shift, sd_cents=d.sd_cents, interval_cents=d.interval_cents)
        for note, d in deviations.items()
    }
    before = next_act(deviations, against=against, reference_sd_cents=0.1).act
    after = next_act(moved, against=against, reference_sd_cents=0.1).act
    last = {Act.LEAVE, Act.MOVE_THE_DRONES, Act.MEASURE_AGAIN}
    assert before is after or {before, after} <= last


@given(st.floats(-50, 50), st.floats(0.01, 30), st.sampled_from([3.0, 5.0]))
def test_judgement_is_even_and_its_odds_are_odds(value: float, sd: float, tolerance: float) -> None:
    assert judge(Uncertain(value=value, sd=sd), tolerance) == judge(Uncertain(value=-value, sd=sd), tolerance)
    assert 0.0 <= sum(chances_beyond(value, sd, tolerance)) <= 1.0 + 1e-12


@pytest.mark.parametrize(
    ("value", "sd", "verdict"),
    [
        (0.0, 0.5, "in"),
        (9.0, 0.5, "out"),
        (-9.0, 0.5, "out"),
        (3.2, 0.5, "in"),  # on the border, and well known: moving it gains nothing
        (5.0, 4.0, "unresolved"),
        (0.0, 9.0, "unresolved"),
        (0.0, 90.0, "unresolved"),  # surely out, but nobody knows which way
        (40.0, 9.0, "out"),
        (3.1, 0.0, "out"),
    ],
)
def test_judgement_of_worked_values(value: float, sd: float, verdict: str) -> None:
    assert judge(Uncertain(value=value, sd=sd), 3.0) == verdict


def test_no_uncertainty_is_no_judgement() -> None:
    assert judge(Uncertain(value=40.0, sd=None), 3.0) == "unresolved"


def test_chances_against_the_normal_table() -> None:
    """Two-sided 1.96 sigma: 5 %."""
    assert chances_beyond(0.0, 1.0, 1.959964) == pytest.approx((0.025, 0.025), abs=1e-6)


def test_control_deciding_by_value_alone_would_act_on_a_guess() -> None:
    """The rule that this design forbids: it calls 5 ± 4 cents out."""
    assert abs(5.0) > 3.0
    assert judge(Uncertain(value=5.0, sd=4.0), 3.0) != "out"
