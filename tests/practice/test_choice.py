"""Which reed for a player: slightly stronger than they blow now. Common practice, no source."""

from __future__ import annotations

from dataclasses import replace
from operator import itemgetter

import pytest

from canebench.base.notes import NOTES
from canebench.base.uncertain import Uncertain
from canebench.reeds.choice import Choice, age_said, worded
from canebench.reeds.eases import MOST
from canebench.reeds.ranking import Candidate, rank
from canebench.reeds.states import NOT_OFFERED, State

#: It suits a player who blows 7 kPa as well as a reed can.
BEST = Candidate(
    number="1",
    state=State.SETTLED,
    pinches=0,
    playing_kpa=Uncertain(value=7.6, sd=0.12),
    read_days=0.0,
    tilt_cents=0.0,
    rest_cents=0.0,
    pitch_cents=0.0,
    heard=tuple(NOTES),
)
#: It suits, but for a strength that is a little off.
OTHER = replace(BEST, number="2", playing_kpa=Uncertain(value=7.9, sd=0.12))


def _reed(
    number: str, kpa: float | None, *, tilt_cents: float | None = None, pinches: int = 0, sd: float = 0.12
) -> Candidate:
    return Candidate(
        number=number,
        state=State.NEW,
        pinches=pinches,
        playing_kpa=None if kpa is None else Uncertain(value=kpa, sd=sd),
        tilt_cents=tilt_cents,
    )


def _chosen(*reeds: Candidate, ceiling_kpa: float | None = None) -> list[Choice]:
    ranked = sorted(
        ((rank(one, blows_kpa=7.0, ceiling_kpa=ceiling_kpa), one) for one in reeds), key=itemgetter(0)
    )
    return worded(ranked, blows_kpa=7.0, ceiling_kpa=ceiling_kpa)


def test_a_little_above_present_strength_is_first() -> None:
    found = _chosen(_reed("1", 6.0), _reed("2", 7.6), _reed("3", 9.5))
    assert found[0].number == "2"
    assert found[0].verdict == "suits now"
    verdicts = {one.number: one.verdict for one in found}
    assert verdicts["1"].startswith("too easy")
    assert "later" in verdicts["3"]


def test_a_reed_above_the_ceiling_is_never_recommended() -> None:
    for one in _chosen(_reed("1", 7.6), _reed("2", 7.4), ceiling_kpa=7.5):
        assert (one.verdict == "leave for another") is (one.number == "1")
        assert (one.then == "fit") is (one.number == "2")


def test_balance_decides_between_equals() -> None:
    found = _chosen(_reed("1", 7.6, tilt_cents=25.0), _reed("2", 7.6, tilt_cents=2.0))
    assert [one.number for one in found] == ["2", "1"]
    assert "octave" in " ".join(found[1].reasons)


def test_ties_and_what_is_missing_are_said() -> None:
    found = _chosen(_reed("1", 7.6), _reed("2", 7.6), _reed("3", None))
    assert found[0].tied_with == ("2",)
    assert found[0].missing == ("balance", "pitch")
    assert found[-1].number == "3"
    assert found[-1].verdict == "grade it first"
    assert found[-1].then == "grade"
    assert found[-1].missing[0] == "strength"


def test_the_best_is_first_where_nothing_speaks_against_it() -> None:
    """Control of all that follow: without what each of them adds, this reed is first and to be fitted."""
    first, second = _chosen(OTHER, BEST)
    assert (first.number, first.verdict, first.then, first.offered) == ("1", "suits now", "fit", True)
    assert (second.number, second.then) == ("2", "fit")


@pytest.mark.parametrize("state", NOT_OFFERED)
def test_a_reed_that_is_set_aside_or_retired_is_offered_to_nobody(state: State) -> None:
    first, last = _chosen(replace(BEST, state=state, state_reason="chip in the lower blade"), OTHER)
    assert first.number == "2"
    assert not last.offered
    assert last.then == ""
    assert last.score is None
    assert (last.verdict, last.reasons) == (state.value, ("chip in the lower blade",))


def test_every_other_state_is_offered() -> None:
    """Control: the rule is not that nothing is."""
    for state in set(State) - set(NOT_OFFERED):
        assert _chosen(replace(BEST, state=state))[0].offered


def test_those_offered_to_nobody_stand_last_even_behind_the_ungraded() -> None:
    found = _chosen(replace(BEST, state=State.SET_ASIDE), _reed("3", None), _reed("4", 9.0), ceiling_kpa=8.0)
    assert [one.number for one in found] == ["4", "3", "1"]


def test_another_players_reed_says_so_and_comes_after() -> None:
    first, second = _chosen(replace(BEST, owner="Morag"), OTHER)
    assert first.number == "2"
    assert "belongs to Morag" in second.reasons
    assert not any("belongs" in reason for reason in first.reasons)


def test_a_reed_that_rests_says_until_when_and_comes_after() -> None:
    first, second = _chosen(replace(BEST, rests="rests from the mouth of Morag until 2031-05-06"), OTHER)
    assert first.number == "2"
    assert second.verdict == "suits now, once it has rested"
    assert second.then == "wait"
    assert "rests from the mouth of Morag until 2031-05-06" in second.reasons
    (ungraded,) = _chosen(replace(_reed("3", None), rests="rests from the mouth of Morag"))
    assert ungraded.then == "wait"


def test_strength_read_before_the_pinch_says_so_and_comes_after() -> None:
    worst = _reed("3", 9.5)
    first, second = _chosen(replace(BEST, before="before the pinch", read_days=12.4), worst)
    assert first.number == "3"
    assert second.verdict == "grade it again: it was read before the pinch"
    assert second.then == "grade"
    assert second.reasons[0] == "0.6 kPa above what you blow now (before the pinch, read 12 days ago)"


def test_the_ceiling_outweighs_a_pinch_that_may_have_brought_the_reed_below() -> None:
    (one,) = _chosen(replace(BEST, before="before the pinch", pinches=1), ceiling_kpa=7.5)
    assert (one.verdict, one.then) == ("leave for another", "")


def test_an_old_reading_and_an_unsure_one_count_for_less() -> None:
    """Of two reeds read alike, one by a gauge today comes before one a year ago, and before one by mouth."""
    for less in (
        replace(BEST, read_days=365.0),
        replace(BEST, playing_kpa=Uncertain(value=7.6, sd=0.4)),
    ):
        first, second = _chosen(replace(less, number="0"), BEST)
        assert (first.number, second.number) == ("1", "0")
        assert first.tied_with == ()


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (0.0, "read today"),
        (0.9, "read today"),
        (1.0, "read 1 day ago"),
        (12.9, "read 12 days ago"),
        (-1.0, "read today"),
    ],
)
def test_the_age_of_a_reading_is_said(days: float, said: str) -> None:
    assert age_said(days) == said
    assert said in _chosen(replace(BEST, read_days=days))[0].reasons[0]


def test_pinches_left_are_said_and_count() -> None:
    found = _chosen(*(replace(BEST, number=str(9 - n), pinches=n) for n in range(MOST + 1)))
    assert [one.number for one in found] == ["9", "8", "7", "6"]
    said = [reason for one in found for reason in one.reasons if "pinch" in reason]
    assert said == [f"{left} of 3 pinches left" for left in ("3", "2", "1", "none")]


def test_pinched_past_the_most_is_the_last_to_be_taken() -> None:
    """Behind one that nobody would call suitable: it may be gone by the next parade."""
    far = _reed("3", 9.5, pinches=MOST)
    first, second = _chosen(replace(BEST, pinches=MOST + 2), far)
    assert first.number == "3"
    assert second.verdict == "only if no other will do"
    assert "pinched 5 times, 2 past the most" in second.reasons


@pytest.mark.parametrize(("pinches", "eased"), [(0, True), (2, True), (3, False), (5, False)])
def test_a_reed_without_a_pinch_left_is_not_to_be_eased(pinches: int, *, eased: bool) -> None:
    (strong,) = _chosen(_reed("1", 9.5, pinches=pinches))
    assert (strong.verdict == "leave for later, or ease it") is eased
    assert strong.verdict.startswith("leave for later")


def test_balance_is_right_only_from_a_take_that_heard_it() -> None:
    def said(*unheard: str) -> Choice:
        heard = tuple(note for note in NOTES if note not in unheard)
        return _chosen(replace(BEST, heard=heard))[0]

    assert "balance right" in said().reasons
    assert said().missing == ()
    for note in ("low G", "B", "D", "F", "high G"):
        some = said(note)
        assert "balance right" not in some.reasons
        assert "balance right where it was heard" in some.reasons
        assert some.missing == (f"balance at {note}",)
    for note in ("C", "E"):
        assert not any("balance" in reason for reason in said(note).reasons)
    two = _chosen(replace(BEST, heard=("low A", "high A"), rest_cents=None))[0]
    assert "octave right" in two.reasons
    assert not any("balance" in reason for reason in two.reasons)
    assert two.missing == ("balance at low G, B, C, D, E, F, high G",)


def test_what_is_off_is_said_from_however_few_notes() -> None:
    (one,) = _chosen(replace(BEST, heard=("low A", "B", "high A"), rest_cents=14.0))
    assert "balance 14 cents off" in one.reasons
