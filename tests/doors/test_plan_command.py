"""`canebench plan`, `measure --fitting` and `chanter`: from take to acts, and what came of them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from canebench.base.finding import Finding
from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE
from canebench.base.setting import Setting
from canebench.bench import measure_take as bench
from canebench.bench.fitting_file import load_fitting
from canebench.bench.plan_setting import plan_setting
from canebench.bench.plan_wire import plan_object
from canebench.bore.chanter_file import generic, parse
from canebench.fitting.hemp import Hemp
from canebench.fitting.limits import Limits
from canebench.sound.encode import write_recording
from canebench.sound.synth import Recipe, render, scale_notes
from doors.made_takes import made_measurement
from doors.run import run
from doors.schema_check import faults
from support.true_chanters import TrueChanter, true_chanter

if TYPE_CHECKING:
    from canebench.sound.readings import Measurement

DOCS = Path(__file__).parents[2] / "docs"


class Bench:
    """A chanter on the bench: what it plays in a setting is what the measurement hears."""

    def __init__(self, folder: Path) -> None:
        self.true: TrueChanter = true_chanter(np.random.default_rng(7201))
        self.setting, self.findings = Setting(), tuple[Finding, ...]()
        self.take, self.fitting = str(folder / "take.wav"), str(folder / "reed.json")

    def measurement(self) -> Measurement:
        """A take of it as it is set now."""
        hz = self.true.hz([self.setting])[0]
        low_a = float(hz[NOTES.index("low A")])
        cents = {
            note: float(1200 * np.log2(hz[i] / (low_a * DEFAULT_SCALE.ratios[note])))
            for i, note in enumerate(NOTES)
        }
        return made_measurement(cents, reference_hz=low_a, sd_hz=0.01, findings=self.findings)


@pytest.fixture
def reed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Bench:
    on_bench = Bench(tmp_path)
    monkeypatch.setattr(bench, "measure", lambda _recording, **_options: on_bench.measurement())
    recording, _ = render(Recipe(low_a_hz=478, seed=1, notes=scale_notes("low A", duration_s=0.2)))
    write_recording(recording, Path(on_bench.take))
    return on_bench


def _json(*arguments: str) -> dict[str, Any]:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def _schema(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((DOCS / f"{name}.schema.json").read_text("utf-8"))
    return found


def _check(value: Any, name: str) -> None:
    schema = _schema(name)
    assert faults(value, schema, root=schema) == []


def test_plan_act_measure_and_plan_again(reed: Bench) -> None:
    plan = _json("plan", reed.take, "--fitting", reed.fitting)
    _check(plan, "plan")
    _check(plan["fitting"], "fitting")
    first = plan["steps"][0]["setting"]
    reed.setting = Setting(seat_mm=first["seat_mm"], tape_mm=first["tape_mm"], pinches=first["pinches"])
    after = _json("measure", reed.take, "--fitting", reed.fitting)
    _check(after, "measurement")
    _check(after["after_act"], "after-act")
    assert after["after_act"]["setting"] == first
    assert not after["after_act"]["doubtful"]
    seat = [lesson for lesson in after["after_act"]["learnt"] if "deeper" in lesson["what"]]
    assert seat
    assert all(lesson["after"]["sd_cents"] < lesson["before"]["sd_cents"] for lesson in seat)
    again = _json("plan", "--fitting", reed.fitting)
    assert len(again["fitting"]["takes"]) == 2


def test_a_wrong_setting_is_doubted(reed: Bench) -> None:
    run("plan", reed.take, "--fitting", reed.fitting)
    reed.setting = Setting(seat_mm=1.5)
    page = run("measure", reed.take, "--fitting", reed.fitting, "--seat", "-1.5", "--tape", "none").stdout
    assert "Was the setting told rightly" in " ".join(page.split())


def test_library_and_command_give_the_same_numbers(reed: Bench) -> None:
    told = _json("plan", reed.take, "--fitting", reed.fitting)
    fitting, _ = load_fitting(Path(reed.fitting))
    chosen = plan_object(plan_setting(fitting))["chosen"]
    assert chosen["setting"] == told["chosen"]["setting"]
    assert chosen["cents"] == pytest.approx(told["chosen"]["cents"], abs=1e-4)


def test_the_page_has_acts_predictions_and_what_was_weighed(reed: Bench, tmp_path: Path) -> None:
    picture = tmp_path / "plan.svg"
    result = run("plan", reed.take, "--svg", str(picture))
    assert result.exit_code == 0
    for words in ("Act 1", "Why", "Check", "Stop", "Predicted", "strip", "planned cents"):
        assert words in result.stdout
    svg = picture.read_text("utf-8")
    assert ">planned<" in svg
    assert ">now<" in svg


def test_a_refused_take_teaches_nothing(reed: Bench) -> None:
    run("plan", reed.take, "--fitting", reed.fitting)
    before = Path(reed.fitting).read_bytes()
    reed.findings = (Finding(code="silent", text="Nothing is heard.", refuses=True),)
    assert run("measure", reed.take, "--fitting", reed.fitting).exit_code == 6
    assert run("plan", reed.take, "--fitting", reed.fitting).exit_code == 6
    assert Path(reed.fitting).read_bytes() == before


@pytest.mark.parametrize(
    ("options", "code", "said"),
    [
        (["--tape", "X=1"], 4, "taped hole"),
        (["--tape", "E"], 2, "E=1.5"),
        (["--tape", "E=wide"], 2, "E=1.5"),
        (["--done", "some"], 2, "a number of planned acts"),
        (["--seat", "40"], 4, "seat"),
        (["--deeper", "-1"], 4, "deeper_mm"),
        (["--strips", "9"], 4, "most_strips"),
        (["--pinches-left", "7"], 4, "pinches_left"),
        (["--reference", "abc"], 2, "hertz"),
        (["--chanter", "missing.toml"], 5, "no such"),
        (["--scale", "harmonik"], 4, "harmonic"),
        (["--thread", "9"], 4, "thread_mm"),
    ],
)
def test_bad_options_are_refused_and_nothing_is_saved(
    reed: Bench, options: list[str], code: int, said: str
) -> None:
    result = run("plan", reed.take, "--fitting", reed.fitting, *options)
    assert result.exit_code == code
    assert said in result.stderr
    assert not Path(reed.fitting).exists()


def test_more_acts_than_the_plan_has_are_refused(reed: Bench) -> None:
    run("plan", reed.take, "--fitting", reed.fitting)
    before = Path(reed.fitting).read_bytes()
    result = run("measure", reed.take, "--fitting", reed.fitting, "--done", "99")
    assert result.exit_code == 4
    assert "the last plan has" in result.stderr
    assert Path(reed.fitting).read_bytes() == before


def test_a_plan_needs_a_take_or_a_fitting() -> None:
    assert run("plan").exit_code == 2
    assert run("plan", "--fitting", "nowhere.json").exit_code == 5


def test_help_tells_the_defaults_that_the_library_has() -> None:
    page = " ".join(run("plan", "--help").stdout.split())
    limits, hemp = Limits(), Hemp()
    for text in (
        f"deeper the seat may go [{limits.deeper_mm:g}]",
        f"higher the seat may go [{limits.higher_mm:g}]",
        f"smallest move of the seat [{limits.step_mm:g}]",
        f"holes may bear tape [{limits.most_strips}]",
        f"may still be pinched [{limits.pinches_left}]",
        f"hemp thread [{hemp.thread_mm:g}]",
    ):
        assert text in page


def test_chanter_tells_what_a_millimetre_does() -> None:
    page = run("chanter").stdout
    for words in ("generic", "invented", "1 mm deeper", "one pinch", "tape on low A", "warmer"):
        assert words in page
    _check(_json("chanter"), "chanter-effects")


def test_the_printed_file_is_read_back_the_same() -> None:
    assert parse(run("chanter", "--toml").stdout, name="printed").chanter == generic().chanter


def test_a_chanter_in_inches_is_refused_with_the_slip(tmp_path: Path) -> None:
    own = tmp_path / "mine.toml"
    own.write_text(generic().text.replace("[325, 20.2]", "[12.8, 0.8]"), encoding="utf-8")
    result = run("chanter", str(own))
    assert result.exit_code == 4
    assert result.stderr


def test_a_fitting_tells_its_own_chanter(reed: Bench) -> None:
    run("plan", reed.take, "--fitting", reed.fitting)
    assert "fitted to 1 take" in run("chanter", "--fitting", reed.fitting).stdout
