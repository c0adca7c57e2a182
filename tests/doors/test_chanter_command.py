"""`canebench chanter`: what a millimetre does, and a file of sizes to start one's own from."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING

import pytest

from canebench.base.fingering import HOLES, OPEN_HOLES
from canebench.base.notes import NOTES
from canebench.bench.acts.fitting.fitting import Fitting
from canebench.bench.views.chanter_effects import chanter_effects
from canebench.bore.chanter_file import generic, parse
from doors.bench_takes import Json, SoundBench, given, misfits
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

_PROFILE = "profile_mm = [[0, 4.0], [60, 7.0], [150, 11.4], [240, 15.9], [325, 20.2]]"


@pytest.fixture(scope="module")
def generic_effects() -> Json:
    return given("chanter")


def test_the_page_tells_what_each_change_does() -> None:
    page = run("chanter").stdout
    for words in ("The generic chanter", "invented", "no take yet", "1 mm deeper", "one pinch", "warmer"):
        assert words in page
    rows = [line for line in page.splitlines() if "mm of tape on" in line]
    assert [line.split("tape on ")[1].split("  ")[0] for line in rows] == list(reversed(HOLES))
    assert all(note in page for note in NOTES)


def test_the_object_fits_its_schema(generic_effects: Json) -> None:
    assert misfits(generic_effects, "chanter-effects") == []
    assert generic_effects["takes"] == 0
    # The control: a note that is none.
    wrong = {**generic_effects, "effects": [{"change": "x", "notes": {"H": {"cents": 1, "sd_cents": 1}}}]}
    assert misfits(wrong, "chanter-effects") != []


def test_library_and_command_give_the_same_numbers(generic_effects: Json) -> None:
    effects = chanter_effects(Fitting())
    assert [effect.change for effect in effects] == [e["change"] for e in generic_effects["effects"]]
    for effect, told in zip(effects, generic_effects["effects"], strict=True):
        for note, value in effect.cents.items():
            assert told["notes"][note]["cents"] == pytest.approx(value.value, abs=1e-5)


def test_deeper_sharpens_the_top_hand_most_and_tape_only_flattens(generic_effects: Json) -> None:
    effects = {e["change"]: e["notes"] for e in generic_effects["effects"]}
    seat = [effects["1 mm deeper"][note]["cents"] for note in NOTES]
    assert seat == sorted(seat)
    assert seat[0] > 0
    assert all(value["cents"] > 0 for value in effects["one pinch"].values())
    assert all(value["cents"] > 0 for value in effects["1 °C warmer air in the bore"].values())
    for hole in HOLES:
        tape = effects[f"1.5 mm of tape on {hole}"]
        assert tape[hole]["cents"] == min(value["cents"] for value in tape.values()) < 0
        assert set(tape) <= {note for note in NOTES if hole in OPEN_HOLES[note]}


def test_the_printed_file_is_read_back_the_same(tmp_path: Path) -> None:
    printed = run("chanter", "--toml").stdout
    assert tomllib.loads(printed) == tomllib.loads(generic().text)
    assert parse(printed, name="printed").chanter == generic().chanter
    own = tmp_path / "mine.toml"
    own.write_text(printed, encoding="utf-8")
    assert run("chanter", str(own), "--toml").stdout == printed
    assert given("chanter", str(own)) == given("chanter")


def test_a_size_changed_in_the_file_changes_what_is_told(tmp_path: Path, generic_effects: Json) -> None:
    """The control of the round trip."""
    own = tmp_path / "mine.toml"
    own.write_text(generic().text.replace("gap_mm = 3.0", "gap_mm = 2.0"), encoding="utf-8")
    assert given("chanter", str(own))["effects"] != generic_effects["effects"]


def _inches(found: re.Match[str]) -> str:
    return f"{found[1]} = {float(found[2]) / 25.4:.3f}"


#: A file with a slip, and what the sentence names.
SLIPS: dict[str, tuple[str, tuple[str, ...]]] = {
    "a profile in inches": (
        generic().text.replace(
            _PROFILE, "profile_mm = [[0, 0.157], [2.36, 0.276], [5.9, 0.449], [9.45, 0.626], [12.8, 0.795]]"
        ),
        ("inches",),
    ),
    "a hole in inches": (
        generic().text.replace("diameter_mm = 4.6", "diameter_mm = 0.181"),
        ("high G", "diameter", "if that was inches"),
    ),
    "everything in inches": (
        re.sub(r"^(\w+_mm) = ([\d.]+)$", _inches, generic().text, flags=re.MULTILINE),
        ("inches",),
    ),
    "a hole in centimetres": (
        generic().text.replace("diameter_mm = 7.0", "diameter_mm = 0.7"),
        ("F", "diameter", "if that was centimetres"),
    ),
    "a hole below the sole": (generic().text.replace("= 230.8", "= 2308"), ("low A", "position")),
    "words for a size": (generic().text.replace("gap_mm = 3.0", 'gap_mm = "small"'), ("gap_mm", "number")),
    "no such field": (generic().text.replace("gap_mm", "gab_mm"), ("gab_mm",)),
    "no schema": ("name = 'mine'", ("schema",)),
    "no toml": ("[[[", ("mine.toml",)),
}


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_in_the_file_is_told(tmp_path: Path, name: str) -> None:
    text, said = SLIPS[name]
    assert text != generic().text
    own = tmp_path / "mine.toml"
    own.write_text(text, encoding="utf-8")
    result = run("chanter", str(own))
    assert result.exit_code == 4
    assert result.stdout == ""
    sentence = " ".join(result.stderr.split())
    assert [part for part in (*said, "mine.toml") if part not in sentence] == []


def test_a_file_that_is_not_there_is_told_with_what_to_start_from() -> None:
    result = run("chanter", "missing.toml")
    assert result.exit_code == 5
    assert "canebench chanter --toml" in " ".join(result.stderr.split())


def test_a_fitting_tells_its_own_chanter_as_its_takes_taught_it(tmp_path: Path) -> None:
    reed = SoundBench(tmp_path)
    run("plan", reed.take, "--fitting", reed.fitting)
    page = " ".join(run("chanter", "--fitting", reed.fitting).stdout.split())
    assert "fitted to 1 take." in page
    taught, before = given("chanter", "--fitting", reed.fitting), given("chanter")
    assert misfits(taught, "chanter-effects") == []
    assert taught["takes"] == 1
    surer = [
        now["notes"]["high A"]["sd_cents"] <= then["notes"]["high A"]["sd_cents"]
        for now, then in zip(taught["effects"][:2], before["effects"][:2], strict=True)
    ]
    assert all(surer)


def test_a_file_and_a_fitting_together_are_refused() -> None:
    result = run("chanter", "mine.toml", "--fitting", "reed.json")
    assert result.exit_code == 2
    assert "not both" in result.stderr


def test_a_fitting_that_is_not_there_is_told(tmp_path: Path) -> None:
    assert run("chanter", "--fitting", str(tmp_path / "nowhere.json")).exit_code == 5
