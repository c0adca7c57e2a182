"""`canebench fit`: measured, kept, compared and planned in one."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from canebench.base.finding import Finding
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.bench.acts.fitting import measure_take as bench
from canebench.sound.files.encode import write_recording
from canebench.sound.synth import Recipe, render, scale_notes
from canebench.store.ledger import open_ledger
from canebench.store.records import PitchRecord, TakeRecord
from doors.run import run
from doors.test_plan_command import Bench


@pytest.fixture
def reed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Bench:
    on_bench = Bench(tmp_path)
    monkeypatch.setattr(bench, "measure", lambda _recording, **_options: on_bench.measurement())
    recording, _ = render(Recipe(low_a_hz=478, seed=1, notes=scale_notes("low A", duration_s=0.2)))
    write_recording(recording, Path(on_bench.take))
    monkeypatch.setenv("CANEBENCH_LEDGER", str(tmp_path / "ledger.db"))
    monkeypatch.setenv("CANEBENCH_WHO", "Ailsa")
    run("lot", "spring", "--count", "2")
    return on_bench


def _fit(reed: Bench, *more: str) -> dict[str, Any]:
    result = run("fit", reed.take, "--reed", "1", "--chanter", "three", *more, "--json")
    assert result.exit_code == 0, result.stderr
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def test_the_first_take_is_kept_with_its_recording_and_planned(reed: Bench, tmp_path: Path) -> None:
    found = _fit(reed, "--room-degc", "18", "--room-rh", "55")
    assert found["after_act"] is None
    assert found["plan"]["steps"]
    with open_ledger(str(tmp_path / "ledger.db")).reading() as reader:
        take = reader.row(TakeRecord, found["take"])
        pitches = reader.rows(PitchRecord, {"take_id": take.id})
    assert take.room_degc == 18
    assert [pitch.note for pitch in pitches] == list(NOTES)
    assert [pitch.hz for pitch in pitches] == pytest.approx(reed.true.hz([Setting()])[0], rel=1e-9)
    kept = tmp_path / "takes" / f"{take.recording_sha256}.flac"
    assert sha256(kept.read_bytes()).hexdigest() == take.recording_sha256


def test_the_next_take_is_held_against_the_plan_and_teaches(reed: Bench) -> None:
    first = _fit(reed)["plan"]["steps"][0]["setting"]
    reed.setting = Setting(seat_mm=first["seat_mm"], tape_mm=first["tape_mm"])
    found = _fit(reed)
    assert found["after_act"]["setting"] == first
    assert not found["after_act"]["doubtful"]
    seat = [lesson for lesson in found["after_act"]["learnt"] if "deeper" in lesson["what"]]
    assert all(lesson["after"]["sd_cents"] < lesson["before"]["sd_cents"] for lesson in seat)
    assert len(found["plan"]["fitting"]["takes"]) == 2
    assert (
        "Kept as take 3" in run("fit", reed.take, "--reed", "1", "--chanter", "three", "--done", "0").stdout
    )


def test_another_chanter_starts_anew(reed: Bench) -> None:
    _fit(reed)
    other = run("fit", reed.take, "--reed", "1", "--chanter", "four", "--json")
    assert json.loads(other.stdout)["after_act"] is None


def test_a_refused_take_is_not_kept(reed: Bench, tmp_path: Path) -> None:
    reed.findings = (Finding(code="silent", text="Nothing is heard.", refuses=True),)
    assert run("fit", reed.take, "--reed", "1", "--chanter", "three").exit_code == 6
    with open_ledger(str(tmp_path / "ledger.db")).reading() as reader:
        assert reader.count(TakeRecord) == 0
    assert not (tmp_path / "takes").exists()


@pytest.mark.parametrize(
    ("more", "code"), [(("--reed", "77"), 5), (("--player", "Nobody"), 5), (("--deeper", "99"), 4)]
)
def test_what_is_not_there_is_told(reed: Bench, more: tuple[str, str], code: int) -> None:
    options = {"--reed": "1", "--chanter": "three", more[0]: more[1]}
    flat = [part for pair in options.items() for part in pair]
    assert run("fit", reed.take, *flat).exit_code == code
