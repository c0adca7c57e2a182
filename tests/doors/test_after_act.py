"""`canebench measure --fitting`: predicted beside measured, what was learnt, and what is still to come."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from canebench.base.errors import InputError
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.after_act import after_act
from canebench.bench.acts.fitting.fitting import Fitting, FittingTake
from canebench.bench.acts.fitting.fitting_file import load_fitting
from canebench.bench.acts.fitting.plan_take import ALL, PlanMade
from canebench.fitting.take import Take
from doors.bench_takes import Json, SoundBench, chanter, given, misfits, setting_in
from doors.run import run


@pytest.fixture
def reed(tmp_path: Path) -> SoundBench:
    return SoundBench(tmp_path)


@pytest.fixture
def planned(reed: SoundBench) -> list[Setting]:
    """The settings of a plan that was begun on the bench: the seat, then three strips of tape."""
    plan = given("plan", reed.take, "--fitting", reed.fitting)
    return [setting_in(step["setting"]) for step in plan["steps"]]


def _after(reed: SoundBench, *options: str) -> Json:
    found: Json = given("measure", reed.take, "--fitting", reed.fitting, *options)["after_act"]
    return found


def _to_come(reed: SoundBench) -> tuple[Setting, ...]:
    return load_fitting(Path(reed.fitting))[1]


def test_plan_act_measure_and_plan_again(reed: SoundBench, planned: list[Setting]) -> None:
    reed.play(planned[0])
    told = given("measure", reed.take, "--fitting", reed.fitting)
    assert misfits(told, "measurement") == []
    after = told["after_act"]
    assert misfits(after, "after-act") == []
    assert setting_in(after["setting"]) == planned[0]
    assert not after["doubtful"]
    assert set(after["actual"]) == set(NOTES)
    again = given("plan", "--fitting", reed.fitting)
    assert len(again["fitting"]["takes"]) == 2
    assert setting_in(again["fitting"]["takes"][1]["setting"]) == planned[0]


def test_a_seat_move_narrows_what_is_known_of_the_seat(reed: SoundBench, planned: list[Setting]) -> None:
    reed.play(planned[0])
    learnt = _after(reed)["learnt"]
    assert [lesson["what"] for lesson in learnt] == [
        "1 mm deeper moves high A by",
        "1 mm deeper moves low A by",
    ]
    for lesson in learnt:
        assert lesson["after"]["sd_cents"] < lesson["before"]["sd_cents"]
    # High A moves most, and a move of three quarters of a millimetre tells most of it.
    assert learnt[0]["after"]["sd_cents"] < 0.7 * learnt[0]["before"]["sd_cents"]


def test_a_take_without_a_move_teaches_nothing_of_the_seat(reed: SoundBench, planned: list[Setting]) -> None:
    """The control."""
    assert planned
    assert _after(reed, "--done", "0")["learnt"] == []


def test_the_prediction_is_borne_out_and_the_truth_within_reach(
    reed: SoundBench, planned: list[Setting]
) -> None:
    reed.play(planned[0])
    after = _after(reed)
    off = [after["actual"][note]["cents"] - after["predicted"][note]["cents"] for note in NOTES]
    sd = [np.hypot(after["actual"][note]["sd_cents"], after["predicted"][note]["sd_cents"]) for note in NOTES]
    beyond = [note for note, by, one in zip(NOTES, off, sd, strict=True) if abs(by) > 2 * one + 1e-6]
    assert after["missed"] == beyond
    assert len(beyond) <= 3


def test_the_whole_plan_brings_it_nearer_in_tune(reed: SoundBench, planned: list[Setting]) -> None:
    before = given("plan", "--fitting", reed.fitting)["now"]
    reed.play(planned[-1])
    after = _after(reed, "--done", "all")
    assert setting_in(after["setting"]) == planned[-1]
    assert {lesson["what"].split(" moves ")[0] for lesson in after["learnt"]} >= {
        "1 mm deeper",
        f"1.5 mm of tape on the {next(iter(planned[-1].tape_mm))} hole",
    }
    worst = [max(abs(beam[note]["cents"]) for note in NOTES) for beam in (before, after["actual"])]
    assert worst[1] < worst[0]
    assert _to_come(reed) == ()


def test_acts_are_counted_one_after_another(reed: SoundBench, planned: list[Setting]) -> None:
    assert len({str(setting) for setting in planned}) == len(planned) == 4
    for done in range(4):
        reed.play(planned[done])
        assert setting_in(_after(reed)["setting"]) == planned[done]
        assert _to_come(reed) == tuple(planned[done + 1 :])


def test_two_acts_at_once_are_counted_as_two(reed: SoundBench, planned: list[Setting]) -> None:
    reed.play(planned[1])
    _after(reed, "--done", "2")
    assert _to_come(reed) == tuple(planned[2:])
    reed.play(planned[2])
    assert setting_in(_after(reed)["setting"]) == planned[2]


def test_no_act_leaves_the_plan_as_it_is(reed: SoundBench, planned: list[Setting]) -> None:
    after = _after(reed, "--done", "0")
    assert setting_in(after["setting"]) == Setting()
    assert _to_come(reed) == tuple(planned)


def test_what_was_really_done_stands_instead_of_the_plan(reed: SoundBench, planned: list[Setting]) -> None:
    done = Setting(seat_mm=0.5, tape_mm={"E": 1.0})
    reed.play(done)
    assert done not in planned
    after = _after(reed, "--seat", "0.5", "--tape", "E=1")
    assert setting_in(after["setting"]) == done
    assert _to_come(reed) == ()


def test_the_page_has_both_and_says_what_comes_next(reed: SoundBench, planned: list[Setting]) -> None:
    reed.play(planned[0])
    result = run("measure", reed.take, "--fitting", reed.fitting)
    assert result.exit_code == 0
    page = " ".join(result.stdout.split())
    for words in ("Predicted and measured", "predicted cents", "measured cents", "difference", "Learnt"):
        assert words in page
    assert "1 mm deeper moves high A by" in page
    assert "(before: " in page
    assert "Plan again: canebench plan --fitting" in page
    assert ("Missed" in page) != ("Borne out" in page)
    # The control: without a fitting it is a measurement and nothing else.
    assert "Predicted and measured" not in run("measure", reed.take).stdout


def test_a_wrong_setting_is_doubted(reed: SoundBench, planned: list[Setting]) -> None:
    reed.play(Setting(seat_mm=2.0))
    page = run("measure", reed.take, "--fitting", reed.fitting, "--seat", "-2", "--tape", "none").stdout
    assert "Was the setting told rightly" in " ".join(page.split())
    assert given("plan", "--fitting", reed.fitting)["doubtful"]
    assert planned


def test_a_refused_take_teaches_nothing_and_ends_with_its_code(
    reed: SoundBench, planned: list[Setting]
) -> None:
    before = reed.kept()
    reed.play_nothing()
    for options in ((), ("--json",)):
        assert run("measure", reed.take, "--fitting", reed.fitting, *options).exit_code == 6
    assert reed.kept() == before
    # The control: a take that was heard changes it.
    reed.play(planned[0])
    assert run("measure", reed.take, "--fitting", reed.fitting).exit_code == 0
    assert reed.kept() != before


#: Options, the exit code, and what the sentence names.
BAD: dict[str, tuple[list[str], int, tuple[str, ...]]] = {
    "more acts than planned": (["--done", "99"], 4, ("acts done: 99", "the last plan has 4 acts", "all")),
    "a seat too deep": (["--seat", "40"], 4, ("seat: 40 mm", "-10 to 10 mm")),
    "no such hole": (["--tape", "X=1"], 4, ("taped hole",)),
    "tape without a size": (["--tape", "E"], 2, ("like 'E=1.5'",)),
    "words for a pitch": (["--reference", "abc"], 2, ("nor a number of hertz",)),
    "a pitch far off": (["--low-a-near", "50"], 4, ("405 to 525",)),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_options_leave_the_fitting_as_it_was(reed: SoundBench, planned: list[Setting], name: str) -> None:
    assert len(planned) == 4
    before = reed.kept()
    options, code, said = BAD[name]
    result = run("measure", reed.take, "--fitting", reed.fitting, *options)
    assert result.exit_code == code
    assert result.stdout == ""
    assert [part for part in said if part not in " ".join(result.stderr.split())] == []
    assert reed.kept() == before


def test_a_fitting_is_needed_and_must_be_there(reed: SoundBench) -> None:
    assert run("measure", reed.take, "--fitting", reed.fitting).exit_code == 5
    assert run("measure", "--demo", "--fitting", reed.fitting).exit_code == 2
    assert reed.kept() is None


@pytest.mark.parametrize("option", [["--seat", "1"], ["--tape", "E=1"], ["--pinches", "1"], ["--done", "1"]])
def test_a_setting_told_without_a_fitting_is_not_passed_over(reed: SoundBench, option: list[str]) -> None:
    result = run("measure", reed.take, *option)
    assert result.exit_code == 2
    assert f"{option[0]} tells how a take was set: it needs --fitting" in " ".join(result.stderr.split())


def test_a_pinch_that_was_done_is_no_longer_left(reed: SoundBench) -> None:
    given("plan", reed.take, "--fitting", reed.fitting, "--pinches-left", "2")
    reed.play(Setting(pinches=1))
    after = _after(reed, "--seat", "0", "--tape", "none", "--pinches", "1")
    assert "a pinch moves high A by" in [lesson["what"] for lesson in after["learnt"]]
    assert load_fitting(Path(reed.fitting))[0].limits.pinches_left == 1
    # The control: the same take again is no other pinch; and what is told outright stands.
    _after(reed, "--done", "0")
    assert load_fitting(Path(reed.fitting))[0].limits.pinches_left == 1
    told = given("plan", reed.take, "--fitting", reed.fitting, "--done", "0", "--pinches-left", "3")
    assert told["fitting"]["limits"]["pinches_left"] == 3


def _take(setting: Setting, *, notes: tuple[str, ...] = NOTES) -> FittingTake:
    hz = chanter().hz([setting])[0]
    hz = np.where([note in notes for note in NOTES], hz, np.nan)
    sd = np.where(np.isnan(hz), np.inf, 0.5)
    return FittingTake(origin="simulated", take=Take(setting=setting, hz=hz, sd_cents=sd))


def test_a_first_take_is_compared_and_teaches_no_slope() -> None:
    after = after_act(Fitting(), _take(Setting(seat_mm=0.5, tape_mm={"E": 1.0})))
    assert after.lessons == ()
    assert set(after.actual) == set(NOTES)


def test_notes_that_were_not_played_are_left_out() -> None:
    begun = Fitting().with_take(_take(Setting()))
    after = after_act(begun, _take(Setting(seat_mm=0.5), notes=("low A", "high A")))
    assert list(after.actual) == ["low A", "high A"]
    assert set(after.predicted) == set(NOTES)
    assert after_act(begun, _take(Setting(seat_mm=0.5), notes=("E",))).actual == {}


_PLANNED = (Setting(seat_mm=0.5), Setting(seat_mm=0.5), Setting(seat_mm=0.5, tape_mm={"E": 1.0}))


@pytest.mark.parametrize(
    ("done", "now", "left"),
    [
        (PlanMade(), _PLANNED[0], _PLANNED[1:]),
        (PlanMade(acts=2), _PLANNED[0], _PLANNED[2:]),
        (PlanMade(acts=0), Setting(), _PLANNED),
        (PlanMade(acts=ALL), _PLANNED[2], ()),
        (PlanMade(acts=1, tape_mm={"E": 1.0}), _PLANNED[2], ()),
        (PlanMade(acts=1, seat_mm=0.25), Setting(seat_mm=0.25), ()),
    ],
)
def test_what_is_done_and_what_is_left(done: PlanMade, now: Setting, left: tuple[Setting, ...]) -> None:
    assert done.setting(Setting(), _PLANNED, deepest_mm=3.0) == now
    assert tuple(done.left(now, _PLANNED)) == left


_TAPED = Setting(seat_mm=0.5, tape_mm={"C": 1.0, "E": 1.5})


@pytest.mark.parametrize(
    ("done", "tape_mm"),
    [
        (PlanMade(acts=0), {"C": 1.0, "E": 1.5}),
        (PlanMade(acts=0, seat_mm=1.0), {"C": 1.0, "E": 1.5}),
        (PlanMade(acts=0, pinches=1), {"C": 1.0, "E": 1.5}),
        (PlanMade(acts=0, tape_mm={"D": 0.8}), {"C": 1.0, "D": 0.8, "E": 1.5}),
        (PlanMade(acts=0, seat_mm=1.0, tape_mm={"E": 2.0}), {"C": 1.0, "E": 2.0}),
        (PlanMade(acts=0, tape_mm={"C": 0.0}), {"E": 1.5}),
        (PlanMade(acts=0, tape_mm={}), {}),
    ],
)
def test_a_strip_stays_on_until_it_is_told_off(done: PlanMade, tape_mm: dict[str, float]) -> None:
    assert dict(done.setting(_TAPED, (), deepest_mm=3.0).tape_mm) == tape_mm


@pytest.mark.parametrize(
    ("seat_mm", "said"),
    [(3.25, "from -4 to 3 mm is possible.*bottom.*Nearest that works: 3 mm"), (-4.5, "leaks.*works: -4 mm")],
)
def test_a_seat_has_a_bottom_and_a_top(seat_mm: float, said: str) -> None:
    """Control: both bounds themselves, and a deeper bottom."""
    with pytest.raises(InputError, match=f"^seat: .*{said}"):
        PlanMade(seat_mm=seat_mm).setting(Setting(), (), deepest_mm=3.0)
    for inside in (3.0, -4.0, 0.1 + 0.2 + 2.7):
        assert PlanMade(seat_mm=inside).setting(Setting(), (), deepest_mm=3.0).seat_mm == inside
    assert PlanMade(seat_mm=3.25).setting(Setting(), (), deepest_mm=4.0).seat_mm == 3.25


def test_no_plan_leads_above_the_top() -> None:
    """From 3 mm above the hand seat 1 mm is left, whatever is asked for; from the hand seat all of it."""
    high = replace(Fitting(), takes=(_take(Setting(seat_mm=-3.0)),))
    assert high.limits.higher_mm == 2.0
    assert high.below_the_top().limits.higher_mm == 1.0
    assert Fitting().below_the_top().limits.higher_mm == 2.0
