"""One way to keep a fitting: what a file and a ledger keep of a reed is one thing, and gives one plan."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE
from canebench.base.setting import Setting
from canebench.bench.acts.fitting import measure_take as bench
from canebench.bench.acts.fitting.begin_fitting import begin_fitting
from canebench.bench.acts.fitting.fit_reed import Place, fit_reed
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.fitting_file import fitting_object, load_fitting
from canebench.bench.views.fitting_now import Fittings
from canebench.bore.chanter_file import generic
from canebench.sound.files.encode import write_recording
from canebench.sound.synth import Recipe, render, scale_notes
from canebench.store.ledger import open_ledger
from canebench.store.records import ChanterRecord, EaseRecord, PitchRecord, TakeRecord
from doors.bench_takes import Bench, Json, given, misfits, setting_in
from doors.run import run

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger

_OF = ("--reed", "1", "--chanter", "three")
#: How far up the beam each note lies, from low A at 0 to high A at 1.
_SHARE = {note: DEFAULT_SCALE.cents(note) / 1200 for note in NOTES}
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
    # Written again from the ledger, without a take.
    again = _fit("--to", reed.fitting, *_AIM)
    assert again["plan"] == by_ledger
    assert again["measurement"] is None


def test_a_files_fitting_comes_in_and_is_planned_from_alike(reed: Bench, ledger: Ledger) -> None:
    by_file = _in_a_file(reed, *_AIM)
    assert _fit("--from", reed.fitting)["plan"] == by_file
    assert _takes(ledger) == 2
    # The ledger keeps no limits: they are told anew.
    assert _fit(*_AIM, "--to", reed.fitting)["plan"] == by_file
    with ledger.reading() as reader:
        takes = reader.rows(TakeRecord)
        assert reader.count(PitchRecord) == 18
        assert reader.row(ChanterRecord, 1).chanter_toml is None
    assert [(take.origin, take.source, take.reference) for take in takes] == [
        ("made by hand", "recording", "low-a")
    ] * 2


def test_how_warm_the_pipes_were_comes_in_with_the_file(reed: Bench, ledger: Ledger) -> None:
    by_file = given("plan", reed.take, "--fitting", reed.fitting, "--warm", "3", "--room-degc", "12")
    assert by_file["next_act"]["act"] == "warm-up"
    _fit("--from", reed.fitting)
    # Planned from what the ledger kept of it.
    assert _fit("--to", reed.fitting)["plan"] == by_file
    with ledger.reading() as reader:
        (take,) = reader.rows(TakeRecord)
    assert (take.warm_min, take.room_degc) == (3.0, 12.0)


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


def test_nothing_is_kept_where_the_file_cannot_be_written(
    reed: Bench, ledger: Ledger, tmp_path: Path
) -> None:
    """Control: where it can, the take is kept."""
    result = run("fit", reed.take, *_OF, "--to", str(tmp_path / "no folder" / "reed.json"))
    assert result.exit_code == 4
    assert "nothing was changed" in " ".join(result.stderr.split())
    assert _takes(ledger) == 0
    assert run("fit", reed.take, *_OF, "--to", str(tmp_path / "reed.json")).exit_code == 0
    assert _takes(ledger) == 1


def test_without_a_take_there_must_be_some(reed: Bench, ledger: Ledger) -> None:
    assert run("fit", *_OF).exit_code == 2
    result = run("fit", "--to", reed.fitting, *_OF)
    assert result.exit_code == 5
    assert "no chanter named 'three'" in result.stderr
    _fit(reed.take)
    result = run("fit", "--to", reed.fitting, "--reed", "2", "--chanter", "three")
    assert result.exit_code == 4
    assert "a plan starts from one take at least" in " ".join(result.stderr.split())
    for told in (("--seat", "1"), ("--room-degc", "18"), ("--player", "Morag")):
        result = run("fit", "--to", reed.fitting, *_OF, *told)
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


def test_pinches_that_a_file_tells_of_count_for_the_reeds_life(reed: Bench, ledger: Ledger) -> None:
    given("plan", reed.take, "--fitting", reed.fitting, "--pinches", "2")
    run("ease", "1")
    _fit("--from", reed.fitting)
    assert _pinches(ledger) == 2
    run("undo")
    assert _pinches(ledger) == 1
    _fit("--from", reed.fitting)
    # The control: the same file once more, and a reed whose pinches are all known.
    _fit("--from", reed.fitting)
    run("ease", "2")
    run("ease", "2")
    run("fit", "--from", reed.fitting, "--reed", "2", "--chanter", "three")
    assert _pinches(ledger) == 4
    run("undo")
    assert _pinches(ledger) == 4


def _pinches(ledger: Ledger) -> int:
    with ledger.reading() as reader:
        return reader.count(EaseRecord, {"how": "pinch"})


def test_no_plan_has_a_pinch_past_the_most_in_file_or_ledger(reed: Bench) -> None:
    """A narrow octave at the bottom asks for a pinch, as long as one is left in the reed's life."""
    asked = ("--deeper", "0", "--pinches-left", "3", "--seat", "0", "--tape", "none")
    narrow = [f"{note}={hz}" for note, hz in zip(NOTES, _narrow_hz(), strict=True)]
    typed = [part for reading in narrow for part in ("--typed", reading)]
    for pinches, act in ((2, "pinch"), (3, None)):
        told = (*typed, *asked, "--pinches", str(pinches), "--to", reed.fitting)
        steps = given("fit", *told, "--reed", "2", "--chanter", f"c{pinches}")["plan"]["steps"]
        again = given("plan", "--fitting", reed.fitting)["steps"]
        for found in (steps, again):
            assert next((step["act"]["act"] for step in found), None) == act
        Path(reed.fitting).unlink()
    for _ in range(3):
        run("ease", "1")
    known = given("fit", *typed, *asked, "--to", reed.fitting, *_OF)["plan"]
    assert known["steps"] == given("plan", "--fitting", reed.fitting)["steps"] == []
    # A file does not know of them: it is told that none is left.
    assert load_fitting(Path(reed.fitting)).limits.pinches_left == 0


def _narrow_hz() -> list[float]:
    """An octave 9 cents narrow, evenly."""
    return [478.0 * DEFAULT_SCALE.ratios[note] * 2 ** (-_SHARE[note] * 9 / 1200) for note in NOTES]


def test_strips_stay_and_the_seat_has_its_bounds_in_file_and_ledger(reed: Bench, tmp_path: Path) -> None:
    file = ("plan", reed.take, "--fitting", reed.fitting)
    for command in (file, ("fit", reed.take, *_OF)):
        given(*command, "--tape", "E=1.5", "--tape", "C=1")
        more = given(*command, "--done", "0", "--seat", "0.5", "--tape", "C=0", "--tape", "D=0.8")
        fitting = more.get("plan", more)["fitting"]
        assert fitting["takes"][-1]["setting"]["tape_mm"] == {"E": 1.5, "D": 0.8}
        kept = Path(reed.fitting).read_bytes()
        for seat in ("3.5", "-4.5"):
            result = run(*command, "--seat", seat)
            assert result.exit_code == 4
            assert "from -4 to 3 mm is possible" in " ".join(result.stderr.split())
        assert Path(reed.fitting).read_bytes() == kept
    # A file that tells of such a seat does not come in.
    written = json.loads(Path(reed.fitting).read_text("utf-8"))
    written["takes"][-1]["setting"]["seat_mm"] = 3.5
    (tmp_path / "deep.json").write_text(json.dumps(written), encoding="utf-8")
    result = run("fit", "--from", str(tmp_path / "deep.json"), "--reed", "2", "--chanter", "three")
    assert result.exit_code == 4
    assert "take 2: seat_mm" in " ".join(result.stderr.split())


def test_where_the_seat_ends_is_no_limit_that_stays(reed: Bench) -> None:
    """High up, a plan stops at the top; its fitting keeps what was asked for, for when it sits deeper."""
    asked = ("--higher", "2", "--seat", "-3")
    limits = [given("plan", reed.take, "--fitting", reed.fitting, *asked)["fitting"]["limits"]]
    limits += [_fit(reed.take, *asked)["plan"]["fitting"]["limits"]]
    limits += [json.loads(Path(reed.fitting).read_text("utf-8"))["limits"]]
    assert [one["higher_mm"] for one in limits] == [2, 2, 2]


def test_a_slip_is_asked_about_before_a_file_comes_in_or_goes_out(reed: Bench, ledger: Ledger) -> None:
    _in_a_file(reed)
    kept = Path(reed.fitting).read_bytes()
    swapped = ("--typed", "low A=956", "--typed", "high A=478")
    both = ("fit", *swapped, "--done", "0", "--from", reed.fitting, "--to", reed.fitting, *_OF)
    result = run(*both)
    assert result.exit_code == 4
    assert "--as-typed where it is right" in " ".join(result.stderr.split())
    assert _takes(ledger) == 0
    assert Path(reed.fitting).read_bytes() == kept
    assert run(*both, "--as-typed").exit_code == 0
    assert _takes(ledger) == len(load_fitting(Path(reed.fitting)).takes) == 3


def test_a_mouth_is_asked_about_only_where_a_take_is_blown(reed: Bench, ledger: Ledger) -> None:
    _in_a_file(reed)
    for name in ("Morag", "Effie"):
        run("player", name, "--blows", "28 inH2O", "--ceiling", "32 inH2O")
    begin_fitting(ledger, Place(reed="1", chanter="three", player="Morag"), who="Ailsa")
    run("rest", "1", "--player", "Effie")
    _fit("--from", reed.fitting, "--to", reed.fitting)
    blown = ("fit", reed.take, "--done", "0", "--to", reed.fitting, *_OF)
    kept = Path(reed.fitting).read_bytes()
    assert run(*blown).exit_code == 4
    assert Path(reed.fitting).read_bytes() == kept
    assert run(*blown, "--insist").exit_code == 0
    with ledger.reading() as reader:
        said = reader.history(limit=1)[0].said
    assert said.startswith("measured reed 1 in three, insisted: it rests from the mouth of Effie")


def test_the_page_shows_a_fitting_that_came_in(reed: Bench, ledger: Ledger) -> None:
    by_file = _in_a_file(reed)
    _fit("--from", reed.fitting)
    now = Fittings(ledger).now(1, 1)
    assert now.plan is not None
    assert now.plan.setting == setting_in(by_file["setting"])
    assert now.report is not None
    assert now.after is not None
