"""The written form of a report fits its published schema, is strict JSON, and keeps absence as null."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from msgspec import ValidationError, convert, to_builtins

from canebench.base.finding import Finding
from canebench.bench.acts.fitting.report import report_on
from canebench.bench.views.wire.measurement import SCHEMA, MeasurementWritten, report_object
from canebench.fitting.acts import Act
from doors.made_takes import TOP_FLAT, made_measurement
from doors.schema_check import faults

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((ROOT / "docs" / "measurement.schema.json").read_text("utf-8"))
    return loaded


def written(report: object) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(json.dumps(report, allow_nan=False))
    return loaded


CASES = {
    "all nine": made_measurement(TOP_FLAT),
    "no high A": made_measurement({"low A": 1.0, "E": 2.0}),
    "own low A": made_measurement({"low A": 0.0, "high A": -2.0}, kind="low-a"),
    "refused": made_measurement({}, findings=(Finding(code="silence", text="No sound.", refuses=True),)),
}


@pytest.mark.parametrize("name", CASES)
def test_reports_fit_the_schema(name: str, schema: dict[str, Any]) -> None:
    report = written(report_object(report_on(CASES[name])))
    assert faults(report, schema) == []
    assert written(to_builtins(convert(report, MeasurementWritten))) == report


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("schema",), "canebench.measurement/2"),
        (("notes", 0, "note"), "H"),
        (("notes", 0, "spans_s", 0), [1.0]),
        (("notes", 0, "hz"), "420"),
        (("balance", "rest_cents", "D"), "much"),
        (("balance", "rest_cents"), {"H": 1.0}),
        (("next_act", "act"), "blow"),
        (("reference", "hz"), 0),
        (("refused",), 0),
    ],
)
def test_control_a_wrong_value_does_not_fit(
    path: tuple[str | int, ...], value: object, schema: dict[str, Any]
) -> None:
    report = written(report_object(report_on(CASES["all nine"])))
    place: Any = report
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    assert faults(report, schema)
    with pytest.raises(ValidationError, match=r" - at "):
        convert(report, MeasurementWritten)


def test_control_a_missing_field_does_not_fit(schema: dict[str, Any]) -> None:
    for field in schema["required"]:
        report = written(report_object(report_on(CASES["all nine"])))
        del report[field]
        assert faults(report, schema)


def test_schema_and_code_know_the_same_acts(schema: dict[str, Any]) -> None:
    assert sorted(schema["$defs"]["Act"]["enum"]) == sorted(act.value for act in Act)
    assert schema["properties"]["schema"]["enum"] == [SCHEMA]


def test_what_was_written_before_a_field_came_still_fits(schema: dict[str, Any]) -> None:
    report = written(report_object(report_on(CASES["all nine"])))
    for kind, later in {"notes": ("repeat_sd_cents", "level_db"), "drones": ("spans_s", "separable")}.items():
        for name in later:
            del report[kind][0][name]
    assert faults(report, schema) == []
    assert convert(report, MeasurementWritten).notes[0].repeat_sd_cents is None


def test_what_is_absent_is_null_and_never_nan(schema: dict[str, Any]) -> None:
    measured = made_measurement(TOP_FLAT)
    vague = replace(measured.notes[4], sd_hz=math.inf, drift_cents_per_s=math.nan)
    notes = (*measured.notes[:4], vague, *measured.notes[5:])
    report = written(report_object(report_on(replace(measured, notes=notes))))
    assert report["notes"][4]["sd_hz"] is None
    assert report["notes"][4]["drift_cents_per_s"] is None
    assert report["balance"]["rest_sd_cents"]["D"] is None
    assert faults(report, schema) == []
    assert report_object(report_on(CASES["no high A"]))["balance"] is None


def test_the_worked_example_of_the_design() -> None:
    report = report_object(report_on(made_measurement(TOP_FLAT)))
    assert report["balance"]["height_cents"] == pytest.approx(-2.5)
    assert report["balance"]["tilt_cents"] == pytest.approx(-18.0)
    assert report["balance"]["rest_cents"]["low A"] == 0.0
    assert report["next_act"]["act"] == "seat-deeper"
