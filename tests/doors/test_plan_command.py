"""`canebench plan`: from a take to acts in working order, and a fitting that is kept whole or not at all."""

from __future__ import annotations

import tomllib
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from canebench.base.setting import Setting
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.fitting import Fitting
from canebench.bench.acts.fitting.fitting_file import load_fitting
from canebench.bore.chanter_file import generic
from canebench.cli.takes.plan import command
from canebench.fitting.hemp import Hemp
from canebench.fitting.limits import Limits
from doors.bench_takes import Bench, SoundBench, given, misfits
from doors.run import run

#: Other tests of the doors take it from here.
__all__ = ["Bench"]


@pytest.fixture
def reed(tmp_path: Path) -> SoundBench:
    return SoundBench(tmp_path)


def test_a_take_becomes_acts_in_working_order(reed: SoundBench) -> None:
    plan = given("plan", reed.take)
    acts = [step["act"]["act"] for step in plan["steps"]]
    assert acts == ["seat-deeper", "tape", "tape", "tape"]
    assert plan["next_act"] == plan["steps"][0]["act"]
    assert plan["setting"] == plan["steps"][-1]["setting"]
    assert plan["verdict"] is None
    assert misfits(plan, "plan") == []
    assert reed.kept() is None


def test_drones_that_sound_change_nothing_of_the_plan(reed: SoundBench) -> None:
    without = given("plan", reed.take)
    reed.play(Setting(), drones=True)
    with_them = given("plan", reed.take)
    assert [step["setting"]["seat_mm"] for step in with_them["steps"]] == [
        step["setting"]["seat_mm"] for step in without["steps"]
    ]
    assert [step["act"]["act"] for step in with_them["steps"]] == [
        step["act"]["act"] for step in without["steps"]
    ]
    for note, one in without["steps"][-1]["predicted"].items():
        assert with_them["steps"][-1]["predicted"][note]["cents"] == pytest.approx(one["cents"], abs=0.5)


def test_the_page_has_one_act_in_full_and_what_is_likely_to_follow(reed: SoundBench) -> None:
    result = run("plan", reed.take)
    assert result.exit_code == 0
    assert result.stderr == ""
    for words in ("Plan for take.wav", "Act 1", "Why", "Check", "Stop", "Predicted", "planned cents"):
        assert words in result.stdout
    page = " ".join(result.stdout.split())
    plan = given("plan", reed.take)
    for words in ("Setting now: seated at zero", "Act 1 Seat the reed", "Then, as far as it can be told"):
        assert words in page
    for count, step in enumerate(plan["steps"], 1):
        assert f"Act {count} {step['act']['say']}" in page
    # One act is to be done: only of that one is told how to check it and when to stop.
    assert page.count("Predicted: ") == 1
    assert plan["steps"][0]["act"]["stop"] in page
    assert plan["steps"][1]["act"]["stop"] not in page
    # Nothing is kept, so nobody is told to go on from a file.
    assert "--fitting" not in page
    assert "Do act 1 alone, then: canebench measure TAKE --fitting" in " ".join(
        run("plan", reed.take, "--fitting", reed.fitting).stdout.split()
    )


def test_the_page_fits_a_narrow_terminal(reed: SoundBench) -> None:
    page = run("plan", reed.take, env={"COLUMNS": "60"}).stdout
    assert max(len(line) for line in page.splitlines()) <= 60


def test_the_picture_has_both_beams(reed: SoundBench, tmp_path: Path) -> None:
    picture = tmp_path / "plan.svg"
    result = run("plan", reed.take, "--svg", str(picture))
    assert result.exit_code == 0
    assert str(picture) in result.stderr
    svg = picture.read_text("utf-8")
    ET.fromstring(svg)  # noqa: S314 - our own picture
    assert _beams(svg) == {"now", "planned"}


def test_a_picture_of_one_beam_would_be_noticed(reed: SoundBench, tmp_path: Path) -> None:
    """The control: where nothing is to be done there is only the beam that there is."""
    picture = tmp_path / "plan.svg"
    nothing = ("--deeper", "0", "--higher", "0", "--strips", "0")
    assert run("plan", reed.take, "--svg", str(picture), *nothing).exit_code == 0
    assert _beams(picture.read_text("utf-8")) != {"now", "planned"}


def _beams(svg: str) -> set[str]:
    return {label for label in ("now", "planned") if f">{label}<" in svg}


def test_a_picture_that_cannot_be_written_is_told(reed: SoundBench, tmp_path: Path) -> None:
    result = run("plan", reed.take, "--svg", str(tmp_path / "nowhere" / "plan.svg"))
    assert result.exit_code == 4
    assert "a folder that exists" in result.stderr


def test_a_fitting_is_begun_and_planned_from_again(reed: SoundBench) -> None:
    first = given("plan", reed.take, "--fitting", reed.fitting)
    fitting = load_fitting(Path(reed.fitting))
    assert fitting.planned is not None
    assert len(fitting.takes) == 1
    assert [setting.seat_mm for setting in fitting.planned] == [
        s["setting"]["seat_mm"] for s in first["steps"]
    ]
    again = given("plan", "--fitting", reed.fitting)
    assert again["setting"] == first["setting"]
    assert again["steps"] == first["steps"]


def test_what_was_asked_for_is_kept_in_the_fitting(reed: SoundBench) -> None:
    options = ("--deeper", "0.5", "--strips", "1", "--scale", "letter-1929", "--inches-per-mm", "5")
    run("plan", reed.take, "--fitting", reed.fitting, *options)
    again = given("plan", "--fitting", reed.fitting, "--reference", "480")["fitting"]
    assert again["limits"]["deeper_mm"] == 0.5
    assert again["limits"]["most_strips"] == 1
    assert again["scale"] == "letter-1929"
    assert again["hemp"]["inches_per_mm"] == 5
    assert again["reference_hz"] == 480
    back = given("plan", "--fitting", reed.fitting, "--reference", "drones")["fitting"]
    assert back["reference_hz"] is None


@pytest.mark.parametrize("hertz", ["480", "480Hz", "480.0hz"])
def test_a_fixed_pitch_may_bear_its_unit(reed: SoundBench, hertz: str) -> None:
    assert given("plan", reed.take, "--reference", hertz)["fitting"]["reference_hz"] == 480


def test_tape_that_is_on_comes_off_a_new_reed_first(reed: SoundBench) -> None:
    taped = Setting(seat_mm=-0.25, tape_mm={"low A": 1.0, "high G": 1.5})
    reed.play(taped)
    told = ("--seat", "-0.25", "--tape", "low-a=1", "--tape", "High G=1.5mm")
    plan = given("plan", reed.take, *told)
    assert plan["fitting"]["takes"][0]["setting"]["tape_mm"] == taped.tape_mm
    assert plan["fitting"]["takes"][0]["setting"]["seat_mm"] == -0.25
    assert plan["steps"][0]["act"]["act"] == "tape-off"


def test_a_chanter_of_ones_own_is_planned_with_and_kept(reed: SoundBench, tmp_path: Path) -> None:
    own = tmp_path / "mine.toml"
    own.write_text(generic().text.replace('name = "generic"', 'name = "mine"'), encoding="utf-8")
    plan = given("plan", reed.take, "--fitting", reed.fitting, "--chanter", str(own))
    assert tomllib.loads(plan["fitting"]["chanter_toml"])["name"] == "mine"
    before = reed.kept()
    other = run("plan", reed.take, "--fitting", reed.fitting, "--chanter", str(own))
    assert other.exit_code == 4
    assert "begin another fitting file" in other.stderr
    assert reed.kept() == before


#: Options, the exit code, and what the sentence names: the field, what is allowed, the likely slip.
BAD: dict[str, tuple[list[str], int, tuple[str, ...]]] = {
    "no such hole": (["--tape", "X=1"], 4, ("taped hole: 'X'", "allowed are high A, high G")),
    "a note without a hole": (["--tape", "low G=1"], 4, ("taped hole", "low A")),
    "tape without a size": (["--tape", "E"], 2, ("'E': like 'E=1.5'",)),
    "a size without a hole": (["--tape", "1.5"], 2, ("like 'E=1.5'",)),
    "tape in words": (["--tape", "E=wide"], 2, ("'E=wide': like 'E=1.5'",)),
    "too much tape": (["--tape", "E=15"], 4, ("tape on the E hole: 15 mm", "0 to 10 mm", "1.5 mm, if the")),
    "tape below 0": (["--tape", "E=-1"], 4, ("tape on the E hole", "1 mm, without the minus")),
    "a hole twice": (["--tape", "E=1", "--tape", "e=2"], 2, ("E hole is named twice",)),
    "acts in words": (["--done", "some"], 2, ("a number of planned acts, or all",)),
    "acts below 0": (["--done", "-1"], 2, ("a number of planned acts, or all",)),
    "a digit that is none": (["--done", "²"], 2, ("a number of planned acts, or all",)),
    "acts without end": (["--done", "9" * 5000], 2, ("a number of planned acts, or all",)),
    "acts without a plan": (["--done", "99"], 4, ("acts done: 99", "the last plan has 0 acts")),
    "a seat too deep": (
        ["--seat", "40"],
        4,
        ("seat: 40 mm", "-10 to 10 mm", "1.016 mm, if that was thousandths"),
    ),
    "a seat in thousandths": (["--seat", "60"], 4, ("1.524 mm, if that was thousandths of an inch",)),
    "no number for a seat": (["--seat", "deep"], 2, ("--seat", "'deep'")),
    "an endless seat": (["--seat", "inf"], 2, ("--seat", "'inf': a number is needed")),
    "pinches below 0": (["--pinches", "-1"], 4, ("pinches: -1", "0 to 20")),
    "half a pinch": (["--pinches", "0.5"], 2, ("--pinches",)),
    "deeper below 0": (["--deeper", "-1"], 4, ("deeper_mm: -1 mm", "0 to 6 mm", "Nearest that works: 0 mm")),
    "deeper without a number": (["--deeper", "nan"], 2, ("--deeper", "'nan': a number is needed")),
    "higher by far": (["--higher", "60"], 4, ("higher_mm: 60 mm", "0 to 6 mm", "6 mm")),
    "no step": (["--step", "0"], 4, ("step_mm: 0 mm", "0.05 to 1 mm", "0.05 mm")),
    "too many strips": (["--strips", "9"], 4, ("most_strips: 9", "0 to 8")),
    "too many pinches": (["--pinches-left", "7"], 4, ("pinches_left: 7", "0 to 3")),
    "thick thread": (["--thread", "9"], 4, ("thread_mm: 9", "0.05 to 1")),
    "no hemp": (["--inches-per-mm", "0"], 4, ("inches_per_mm: 0", "0.1 to 40")),
    "words for a pitch": (["--reference", "abc"], 2, ("'abc' is neither drones nor a number of hertz",)),
    "no pitch": (["--reference", "0"], 2, ("a number of hertz above 0",)),
    "an endless pitch": (["--reference", "inf"], 2, ("nor a number of hertz",)),
    "a drone's pitch": (["--reference", "239"], 4, ("reference: 239 Hz", "350 to 600 Hz", "a tenor drone")),
    "no chanter": (["--chanter", "missing.toml"], 5, ("missing.toml: no such", "canebench chanter --toml")),
    "a scale with a slip": (["--scale", "harmonik"], 4, ("'harmonik'", "harmonic")),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_options_are_refused_in_words_and_nothing_is_saved(reed: SoundBench, name: str) -> None:
    options, code, said = BAD[name]
    result = run("plan", reed.take, "--fitting", reed.fitting, *options)
    assert result.exit_code == code
    assert result.stdout == ""
    assert [part for part in said if part not in " ".join(result.stderr.split())] == []
    assert reed.kept() is None


@pytest.mark.parametrize("name", ["a seat too deep", "deeper below 0", "a drone's pitch", "too much tape"])
def test_bad_options_leave_a_fitting_as_it_was(reed: SoundBench, name: str) -> None:
    run("plan", reed.take, "--fitting", reed.fitting)
    before = reed.kept()
    options, code, _said = BAD[name]
    assert run("plan", reed.take, "--fitting", reed.fitting, *options).exit_code == code
    assert reed.kept() == before
    # The control: good options change it.
    assert run("plan", reed.take, "--fitting", reed.fitting, "--deeper", "1").exit_code == 0
    assert reed.kept() != before


def test_a_pitch_that_is_no_low_a_is_refused_without_a_take_too(reed: SoundBench) -> None:
    run("plan", reed.take, "--fitting", reed.fitting)
    before = reed.kept()
    result = run("plan", "--fitting", reed.fitting, "--reference", "119.5")
    assert result.exit_code == 4
    assert "478 Hz, if that was the bass drone" in " ".join(result.stderr.split())
    assert reed.kept() == before


@pytest.mark.parametrize("option", [["--seat", "1"], ["--tape", "none"], ["--pinches", "1"], ["--done", "2"]])
def test_a_setting_told_without_a_take_is_not_passed_over(reed: SoundBench, option: list[str]) -> None:
    run("plan", reed.take, "--fitting", reed.fitting)
    before = reed.kept()
    result = run("plan", "--fitting", reed.fitting, *option)
    assert result.exit_code == 2
    assert f"{option[0]} tells how a take was set: it needs a take" in " ".join(result.stderr.split())
    assert reed.kept() == before


def test_a_refused_take_is_told_and_leaves_the_fitting(reed: SoundBench) -> None:
    run("plan", reed.take, "--fitting", reed.fitting)
    before = reed.kept()
    reed.play_nothing()
    result = run("plan", reed.take, "--fitting", reed.fitting)
    assert result.exit_code == 6
    assert "could not be measured" in result.stderr
    assert ".." not in result.stderr
    assert reed.kept() == before


def test_a_refused_take_begins_no_fitting(reed: SoundBench) -> None:
    reed.play_nothing()
    assert run("plan", reed.take, "--fitting", reed.fitting).exit_code == 6
    assert reed.kept() is None


def test_a_fitting_that_cannot_be_written_is_told(reed: SoundBench, tmp_path: Path) -> None:
    result = run("plan", reed.take, "--fitting", str(tmp_path / "nowhere" / "reed.json"))
    assert result.exit_code == 4
    assert "nothing was changed" in " ".join(result.stderr.split())
    assert result.stdout == ""


def test_a_file_that_is_no_fitting_is_not_written_over(reed: SoundBench) -> None:
    Path(reed.fitting).write_text('{"mine": 1}', encoding="utf-8")
    result = run("plan", reed.take, "--fitting", reed.fitting)
    assert result.exit_code == 4
    assert "schema" in result.stderr
    assert reed.kept() == b'{"mine": 1}'


def test_a_plan_needs_a_take_or_a_fitting(tmp_path: Path) -> None:
    assert run("plan").exit_code == 2
    nowhere = run("plan", "--fitting", str(tmp_path / "nowhere.json"))
    assert nowhere.exit_code == 5
    assert "canebench plan TAKE --fitting" in " ".join(nowhere.stderr.split())
    assert run("plan", str(tmp_path / "nowhere.wav")).exit_code == 5


def _defaults_told() -> list[str]:
    limits, hemp = Limits(), Hemp()
    return [
        f"deeper the seat may go [{limits.deeper_mm:g}]",
        f"higher the seat may go [{limits.higher_mm:g}]",
        f"smallest move of the seat [{limits.step_mm:g}]",
        f"holes may bear tape [{limits.most_strips}]",
        f"may still be pinched [{limits.pinches_left}]",
        f"hemp thread [{hemp.thread_mm:g}]",
        f"before this take. [default: {FitRequest().done}]",
    ]


def test_help_tells_the_defaults_that_the_library_has() -> None:
    page = " ".join(run("plan", "--help").stdout.split())
    assert [text for text in _defaults_told() if text not in page] == []
    assert f"[{Limits().deeper_mm + 1:g}]" not in page


def test_what_is_not_said_is_left_to_the_library() -> None:
    """Only --done has a default of its own, and it is the library's."""
    own = {param.name: param.default for param in command.params if param.default not in (None, False, ())}
    told = {name: value for name, value in own.items() if isinstance(value, (str, int, float))}
    assert told == {"done": str(FitRequest().done)}
    assert FitRequest().on(Fitting()) == Fitting()
