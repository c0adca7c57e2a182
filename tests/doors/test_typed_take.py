"""Readings typed from any meter enter the same place as a recording."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from canebench.base.errors import InputError
from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.type_take import Typed, typed_take
from canebench.store.ledger import open_ledger
from canebench.store.records import PitchRecord, TakeRecord
from doors.run import run
from support.true_chanters import true_chanter

if TYPE_CHECKING:
    from pathlib import Path


def test_hertz_and_cents_come_to_the_same() -> None:
    low_a = 480.0
    in_hz = {note: Typed(value=low_a * DEFAULT_SCALE.ratios[note], unit="Hz") for note in NOTES}
    in_cents = {note: Typed(value=0.0, unit="cents") for note in NOTES}
    for readings in (in_hz, in_cents):
        found = typed_take(readings, scale=DEFAULT_SCALE, reference_hz=low_a)
        assert [note.cents for note in found.notes] == pytest.approx([0.0] * len(NOTES), abs=1e-9)


@pytest.mark.parametrize(
    ("readings", "reference_hz", "said"),
    [
        ({"E": Typed(value=3, unit="cents")}, None, "no fixed pitch was given"),
        ({"E": Typed(value=720, unit="Hz")}, None, "low A is needed"),
        ({"H": Typed(value=720, unit="Hz")}, 480.0, "note"),
        ({}, 480.0, "low A is needed"),
    ],
)
def test_what_says_too_little_is_refused(
    readings: dict[str, Typed], reference_hz: float | None, said: str
) -> None:
    with pytest.raises(InputError, match=said):
        typed_take(readings, scale=DEFAULT_SCALE, reference_hz=reference_hz)


def test_slips_of_unit_are_noticed() -> None:
    with pytest.raises(InputError, match="unit is missing"):
        Typed(value=-3.0, unit="Hz")
    with pytest.raises(InputError, match="cents"):
        Typed(value=480.0, unit="cents")


def test_typed_readings_are_kept_planned_and_learnt_from(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("CANEBENCH_LEDGER", str(tmp_path / "ledger.db"))
    run("lot", "spring", "--count", "1")
    true = true_chanter(np.random.default_rng(7300))

    def fit(setting: Setting, *more: str) -> dict[str, Any]:
        typed = [f"--typed={note}={hz:.2f}" for note, hz in zip(NOTES, true.hz([setting])[0], strict=True)]
        result = run("fit", *typed, "--reed", "1", "--chanter", "three", *more, "--json")
        assert result.exit_code == 0, result.stderr
        found: dict[str, Any] = json.loads(result.stdout)
        return found

    fit(Setting())
    found = fit(Setting(seat_mm=1.0), "--seat", "1", "--tape", "none")
    assert found["after_act"]["learnt"]
    with open_ledger(str(tmp_path / "ledger.db")).reading() as reader:
        assert {take.source for take in reader.rows(TakeRecord)} == {"typed"}
        pitch = reader.rows(PitchRecord)[0]
    assert pitch.typed_unit == "Hz"
    assert pitch.typed_value == pytest.approx(pitch.hz)


def test_the_command_reads_commas_and_refuses_nonsense(tmp_path: Path) -> None:
    place = ["--ledger", str(tmp_path / "l.db"), "--reed", "1", "--chanter", "x"]
    run("lot", "spring", "--count", "1", "--ledger", str(tmp_path / "l.db"))
    assert run("fit", "--typed", "lowA=478,2", "--typed", "high a=955 Hz", *place).exit_code == 0
    assert run("fit", "--typed", "low A=loud", *place).exit_code == 2
    assert run("fit", *place).exit_code == 2


def _kept(tmp_path: Path) -> int:
    with open_ledger(str(tmp_path / "l.db")).reading() as reader:
        return reader.count(TakeRecord)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"low A": "478", "high A": "480"}, "7 cents apart, and an octave is 1200"),
        ({"low A": "955", "high A": "478"}, "the two may be swapped"),
        ({"low A": "478", "D": "637", "E": "760", "F": "797", "high A": "955"}, "E is 101 cents too high"),
    ],
)
def test_a_slip_is_asked_about_and_taken_where_it_is_none(
    tmp_path: Path, typed: dict[str, str], said: str
) -> None:
    place = ["--ledger", str(tmp_path / "l.db"), "--reed", "1", "--chanter", "x"]
    run("lot", "spring", "--count", "1", "--ledger", str(tmp_path / "l.db"))
    readings = [f"--typed={note}={hz}" for note, hz in typed.items()]
    asked = run("fit", *readings, *place)
    assert asked.exit_code == 4
    assert said in " ".join(asked.stderr.split())
    assert f"high A {typed['high A']} Hz" in asked.stderr or "E 760 Hz" in asked.stderr
    assert "--as-typed where it is right" in asked.stderr
    assert _kept(tmp_path) == 0
    taken = run("fit", *readings, "--as-typed", *place)
    assert taken.exit_code == 0, taken.stderr
    assert "[odd-step]" in taken.stdout
    assert _kept(tmp_path) == 1


def test_cents_without_a_pitch_name_the_option(tmp_path: Path) -> None:
    place = ["--ledger", str(tmp_path / "l.db"), "--reed", "1", "--chanter", "x"]
    run("lot", "spring", "--count", "1", "--ledger", str(tmp_path / "l.db"))
    refused = run("fit", "--typed", "low A=0c", "--typed", "high A=-3c", *place)
    assert refused.exit_code == 4
    assert "--reference HERTZ" in refused.stderr
    assert run("fit", "--typed", "low A=0c", "--reference", "478", *place).exit_code == 0
    # A step of 100 cents is a slip in cents as well.
    fixed = ("--reference", "478", "--typed", "low A=0c", "--typed", "B=100c")
    assert run("fit", *fixed, *place).exit_code == 4


def test_as_typed_belongs_to_typed_readings(tmp_path: Path) -> None:
    place = ["--ledger", str(tmp_path / "l.db"), "--reed", "1", "--chanter", "x"]
    assert run("fit", "take.wav", "--as-typed", *place).exit_code == 2
