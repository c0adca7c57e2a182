"""One way to keep a fitting: what a file and a ledger keep of a reed is one thing, and gives one plan."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from canebench.base.setting import Setting
from canebench.bench.acts.fitting import measure_take as bench
from canebench.bench.acts.fitting.fit_reed import Place, fit_reed
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.fitting_file import fitting_object, load_fitting
from canebench.bore.chanter_file import generic
from canebench.sound.files.encode import write_recording
from canebench.sound.synth import Recipe, render, scale_notes
from canebench.store.ledger import open_ledger
from canebench.store.records import ChanterRecord, PitchRecord, TakeRecord
from doors.bench_takes import Bench, Json, given, misfits, setting_in
from doors.run import run

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger

_OF = ("--reed", "1", "--chanter", "three")
_AIM = ("--deeper", "1.5", "--strips", "4", "--pinches-left", "1", "--inches-per-mm", "5")


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


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return open_ledger(str(tmp_path / "ledger.db"))


def _fit(*arguments: str) -> Json:
    return given("fit", *arguments, *_OF)


def _takes(ledger: Ledger) -> int:
    with ledger.reading() as reader:
        return reader.count(TakeRecord)


def _in_a_file(reed: Bench, *aim: str) -> Json:
    """Two takes kept in the file, and the plan from there."""
    first = given("plan", reed.take, "--fitting", reed.fitting, *aim)
    reed.setting = setting_in(first["steps"][0]["setting"])
    given("measure", reed.take, "--fitting", reed.fitting)
    return given("plan", "--fitting", reed.fitting)


def _in_the_ledger(reed: Bench, *aim: str) -> Json:
    """The same two takes kept in the ledger, and the plan from there."""
    first = _fit(reed.take, *aim)["plan"]
    reed.setting = setting_in(first["steps"][0]["setting"])
    found: Json = _fit(reed.take, *aim, "--to", reed.fitting)["plan"]
    return found


def test_the_same_takes_give_the_same_plan_in_file_and_ledger(reed: Bench) -> None:
    by_file = _in_a_file(reed, *_AIM)
    reed.setting = Setting()
    assert _in_the_ledger(reed, *_AIM) == by_file


def test_a_ledgers_fitting_goes_out_and_is_planned_from_alike(reed: Bench) -> None:
    by_ledger = _in_the_ledger(reed, *_AIM)
    written = json.loads(Path(reed.fitting).read_text("utf-8"))
    assert misfits(written, "fitting") == []
    assert written == by_ledger["fitting"]
    assert given("plan", "--fitting", reed.fitting) == by_ledger
    # Planned again from the ledger, without a take.
    assert _fit(*_AIM)["plan"] == by_ledger
    assert _fit(*_AIM)["measurement"] is None


def test_a_files_fitting_comes_in_and_is_planned_from_alike(reed: Bench, ledger: Ledger) -> None:
    by_file = _in_a_file(reed, *_AIM)
    assert _fit("--from", reed.fitting)["plan"] == by_file
    assert _takes(ledger) == 2
    # The ledger keeps no limits: they are told anew.
    assert _fit(*_AIM)["plan"] == by_file
    with ledger.reading() as reader:
        takes = reader.rows(TakeRecord)
        assert reader.count(PitchRecord) == 18
        assert reader.row(ChanterRecord, 1).chanter_toml is None
    assert [(take.origin, take.source, take.reference) for take in takes] == [
        ("made by hand", "recording", "low-a")
    ] * 2


def test_out_and_in_again_is_the_same_file(reed: Bench, tmp_path: Path) -> None:
    _in_a_file(reed, "--scale", "letter-1929", "--reference", "480", *_AIM)
    other = tmp_path / "other.json"
    _fit("--from", reed.fitting, "--to", str(other))
    assert json.loads(other.read_text("utf-8")) == json.loads(Path(reed.fitting).read_text("utf-8"))
    again = fitting_object(load_fitting(other))
    _fit(*_AIM, "--to", str(other))
    assert fitting_object(load_fitting(other)) == again


@pytest.mark.parametrize(("place", "by"), [("hz", 0.01), ("sd_cents", 0.5)])
def test_control_a_figure_changed_on_the_way_would_be_noticed(reed: Bench, place: str, by: float) -> None:
    by_file = _in_a_file(reed, *_AIM)
    written: dict[str, Any] = json.loads(Path(reed.fitting).read_text("utf-8"))
    written["takes"][0][place]["E"] += by
    Path(reed.fitting).write_text(json.dumps(written), encoding="utf-8")
    assert _fit("--from", reed.fitting)["plan"]["believed"] != by_file["believed"]


def test_a_file_comes_in_once_and_goes_on(reed: Bench, ledger: Ledger) -> None:
    _in_a_file(reed)
    assert [_fit("--from", reed.fitting)["take"] for _ in range(2)][1] is None
    assert _takes(ledger) == 2
    given("measure", reed.take, "--fitting", reed.fitting, "--done", "0")
    _fit("--from", reed.fitting)
    assert _takes(ledger) == 3
    # With a take of its own after those of the file, all in one act.
    given("measure", reed.take, "--fitting", reed.fitting, "--done", "0")
    found = _fit(reed.take, "--from", reed.fitting, "--done", "0", "--room-degc", "18")
    assert len(found["plan"]["fitting"]["takes"]) == _takes(ledger) == 5
    with ledger.reading() as reader:
        assert [take.room_degc for take in reader.rows(TakeRecord)] == [None] * 4 + [18]
    run("undo")
    assert _takes(ledger) == 3


def test_a_chanter_comes_in_with_its_sizes(reed: Bench, ledger: Ledger, tmp_path: Path) -> None:
    own = tmp_path / "mine.toml"
    own.write_text(generic().text.replace('name = "generic"', 'name = "mine"'), encoding="utf-8")
    plan = given("plan", reed.take, "--fitting", reed.fitting, "--chanter", str(own))
    assert _fit("--from", reed.fitting)["plan"] == plan
    with ledger.reading() as reader:
        assert reader.row(ChanterRecord, 1).chanter_toml == own.read_text("utf-8")
    # Another file's chanter is not this one.
    generic_one = str(tmp_path / "generic.json")
    given("plan", reed.take, "--fitting", generic_one)
    result = run("fit", "--from", generic_one, "--reed", "2", "--chanter", "three")
    assert result.exit_code == 4
    assert "one with other sizes of the chanter was given" in " ".join(result.stderr.split())
    assert _takes(ledger) == 1


def test_a_fitting_with_other_takes_does_not_come_in(reed: Bench, ledger: Ledger) -> None:
    _in_the_ledger(reed)
    reed.setting = Setting(seat_mm=0.25)
    Path(reed.fitting).unlink()
    _in_a_file(reed)
    result = run("fit", "--from", reed.fitting, *_OF)
    assert result.exit_code == 4
    assert "one with other takes was given; one that goes on from" in " ".join(result.stderr.split())
    assert _takes(ledger) == 2
    # The control: in a chanter of another name it does.
    assert run("fit", "--from", reed.fitting, "--reed", "1", "--chanter", "four").exit_code == 0
    assert _takes(ledger) == 4


def test_only_a_fitting_is_written_over(reed: Bench, ledger: Ledger) -> None:
    before = Path(reed.take).read_bytes()
    assert run("fit", reed.take, *_OF, "--to", reed.take).exit_code == 4
    assert Path(reed.take).read_bytes() == before
    assert _takes(ledger) == 0


def test_without_a_take_there_must_be_some(reed: Bench, ledger: Ledger) -> None:
    result = run("fit", *_OF)
    assert result.exit_code == 5
    assert "no chanter named 'three'" in result.stderr
    _fit(reed.take)
    result = run("fit", "--reed", "2", "--chanter", "three")
    assert result.exit_code == 4
    assert "a plan starts from one take at least" in " ".join(result.stderr.split())
    for told in (("--seat", "1"), ("--room-degc", "18"), ("--player", "Morag")):
        result = run("fit", *_OF, *told)
        assert result.exit_code == 2
        assert f"{told[0]} tells how a take was set: it needs a take" in " ".join(result.stderr.split())
    assert _takes(ledger) == 1


@pytest.mark.usefixtures("reed")
def test_the_ledger_goes_on_with_the_aim_of_the_newest_take() -> None:
    heard = ("--typed", "low A=478", "--typed", "high A=950", "--done", "0")
    _fit(*heard, "--scale", "letter-1929", "--reference", "480")
    fitting = _fit(*heard)["plan"]["fitting"]
    assert (fitting["scale"], fitting["reference_hz"]) == ("letter-1929", 480)
    back = _fit(*heard, "--scale", "harmonic", "--reference", "drones")["plan"]["fitting"]
    assert (back["scale"], back["reference_hz"]) == ("harmonic", None)


def test_the_library_gives_the_plan_of_the_command(reed: Bench, ledger: Ledger) -> None:
    by_file = _in_a_file(reed, *_AIM)
    _fit("--from", reed.fitting)
    fitted = fit_reed(ledger, FitRequest(deeper_mm=1.5), place=Place(reed="1", chanter="three"), who="Ailsa")
    assert fitted.plan is not None
    assert fitting_object(fitted.fitting)["takes"] == by_file["fitting"]["takes"]
    assert (fitted.report, fitted.after, fitted.take_id) == (None, None, None)
