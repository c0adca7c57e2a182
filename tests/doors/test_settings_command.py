"""What a band settles once: shown, changed, undone, exported; and what begins with it."""

from __future__ import annotations

import csv
import json
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from pypdf import PdfReader

from canebench.bench.acts.band import band_defaults, settle
from canebench.bench.views.home.settled import settled
from canebench.reeds.breaking_in.ladder import USUAL_LADDER
from canebench.reeds.forecasts.settled import USUAL_RULE
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import BandRecord, PlayerRecord, ReedRecord, TakeRecord
from canebench.store.refused_edits import StaleEditError
from canebench.store.values import written
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

_AS = ("--typed", "low A=478.2", "--typed", "high A=955.1")


@pytest.fixture
def ledger(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ledger:
    """Three reeds and two players, nothing settled."""
    monkeypatch.setenv("CANEBENCH_LEDGER", str(tmp_path / "ledger.db"))
    monkeypatch.setenv("CANEBENCH_WHO", "Ailsa")
    monkeypatch.chdir(tmp_path)
    run("lot", "spring", "--count", "3", "--new")
    run("player", "Morag", "--blows", "28 inH2O")
    run("player", "Effie")
    return open_ledger(str(tmp_path / "ledger.db"))


def _newest_take(ledger: Ledger) -> TakeRecord:
    with ledger.reading() as reader:
        return reader.rows(TakeRecord, order="-id", limit=1)[0]


def _fit(reed: str, *more: str) -> TakeRecord:
    result = run("fit", "--reed", reed, *_AS, *more)
    assert result.exit_code == 0, result.stderr
    return _newest_take(open_ledger("ledger.db"))


@pytest.mark.usefixtures("ledger")
def test_nothing_is_settled_until_somebody_says_so() -> None:
    page = run("settings").stdout
    assert "from the drones" in page
    assert "Nothing is settled yet" in page
    told = json.loads(run("settings", "--json").stdout)
    assert set(told.values()) == {None}


def test_each_thing_is_settled_shown_and_settled_no_more(ledger: Ledger) -> None:
    page = run(
        "settings", "--name", "X & Y", "--pitch", "478,5 Hz", "--pressure", "MBAR", "--paper", "letter"
    )
    assert page.exit_code == 0, page.stderr
    assert "low A 478.5 Hz, fixed" in page.stdout
    told = json.loads(run("settings", "--json").stdout)
    assert (told["pitch"], told["pressure"], told["paper"]) == (478.5, "mbar", "Letter")
    run("settings", "--pitch", "drones", "--name", "")
    told = json.loads(run("settings", "--json").stdout)
    assert (told["pitch"], told["name"], told["pressure"]) == (None, None, "mbar")
    # There is one row, however often it is told, and what is told again is no act.
    with ledger.reading() as reader:
        assert len(reader.rows(BandRecord)) == 1
        acts = reader.history()
    assert acts[0].said == "settled no name; pitch: from the drones"
    run("settings", "--pressure", "mbar")
    with ledger.reading() as reader:
        assert reader.history() == acts


@pytest.mark.usefixtures("ledger")
@pytest.mark.parametrize(
    ("option", "value", "said"),
    [
        ("--pitch", "loud", "or drones"),
        ("--pitch", "956", "from 350 to 600 Hz"),
        ("--scale", "harmonics", "Nearest that works: harmonic"),
        ("--pressure", "psi", "inH2O"),
        ("--zone", "Lundon", "Europe/London"),
        ("--chanter", "nobody's", "no chanter named"),
        ("--player", "Moragh", "Morag"),
        ("--paper", "A5", "A4, Letter"),
        ("--sessions", "9, 4", "as long as the one before it"),
        ("--sessions", "5, x", "session 2"),
        ("--rest", "2000", "240"),
        ("--settled-onset", "0.5 furlong", "inH2O"),
        ("--settled-onset", "90 inH2O", "5 kPa"),
        ("--settled-low-a", "-3", "above 0"),
        ("--settled-sessions", "0", "one at the least"),
        ("--settled-sessions", "2.5", "whole number"),
    ],
)
def test_what_cannot_be_settled_is_refused_and_nothing_changes(option: str, value: str, said: str) -> None:
    result = run("settings", "--name", "kept", option, value)
    assert result.exit_code in (4, 5)
    assert said in result.stderr
    assert json.loads(run("settings", "--json").stdout)["name"] is None


def test_settling_is_undone_like_any_act(ledger: Ledger) -> None:
    run("settings", "--pitch", "478")
    run("settings", "--pitch", "480")
    run("undo")
    assert band_defaults(ledger).low_a_hz == 478
    run("undo")
    assert band_defaults(ledger).low_a_hz is None
    run("settings", "--pitch", "481")
    assert band_defaults(ledger).low_a_hz == 481


def test_a_change_made_meanwhile_is_not_lost(ledger: Ledger) -> None:
    settle(ledger, {"pitch": "478"}, who="A", version=0)
    settle(ledger, {"scale": "harmonic"}, who="A", version=1)
    for stale in (0, 1):
        with pytest.raises(StaleEditError, match="changed by someone else"):
            settle(ledger, {"pitch": "440"}, who="B", version=stale)
    assert band_defaults(ledger).low_a_hz == 478


@pytest.mark.usefixtures("ledger")
def test_a_new_fitting_begins_with_it_an_option_wins_and_an_old_one_goes_on() -> None:
    first = _fit("1", "--chanter", "one")
    assert (first.reference, first.scale) == ("low-a", "harmonic")
    other = run("scales", "--json").stdout
    scale = next(one["name"] for one in json.loads(other) if one["name"] != "harmonic")
    run("settings", "--pitch", "478", "--scale", scale)
    new = _fit("2", "--chanter", "one")
    assert (new.reference, new.reference_hz, new.scale) == ("fixed", 478.0, scale)
    told = _fit("3", "--chanter", "one", "--reference", "drones", "--scale", "harmonic")
    assert (told.reference, told.scale) == ("low-a", "harmonic")
    # What was begun before goes on as it was.
    again = _fit("1", "--chanter", "one")
    assert (again.reference, again.scale) == ("low-a", "harmonic")


@pytest.mark.usefixtures("ledger")
def test_cents_count_from_the_settled_pitch() -> None:
    cents = ("fit", "--reed", "1", "--chanter", "one", "--typed", "low A=0c", "--typed", "high A=-3c")
    assert "no fixed pitch" in run(*cents).stderr
    run("settings", "--pitch", "478")
    assert run(*cents).exit_code == 0


def test_chanter_and_player_are_the_reeds_then_the_settled_then_the_last_ones(ledger: Ledger) -> None:
    none = run("fit", "--reed", "1", *_AS)
    assert (none.exit_code, "no chanter is settled" in none.stderr) == (4, True)
    _fit("1", "--chanter", "one", "--player", "Effie")
    # The last fitting's chanter; but whoever blew last is no answer to whose reed it is.
    take = _fit("2")
    assert (take.chanter_id, take.player_id) == (1, None)
    run("fit", "--reed", "3", "--chanter", "two", *_AS)
    run("settings", "--chanter", "two", "--player", "Morag")
    with ledger.reading() as reader:
        morag, effie = (reader.find(PlayerRecord, "name", name) for name in ("Morag", "Effie"))
    assert morag is not None
    assert effie is not None
    run("lot", "autumn", "--count", "2")
    new = _fit("4")
    assert (new.chanter_id, new.player_id) == (2, morag.id)
    # A reed that was fitted goes on in its own chanter, and one that is somebody's stays theirs.
    with ledger.act("x", who="x", said="x") as act:
        act.update(act.row(ReedRecord, 1), {"player_id": effie.id})
    result = run("fit", "--reed", "1", *_AS)
    assert "In one; another: --chanter NAME." in result.stderr
    take = _newest_take(ledger)
    assert (take.chanter_id, take.player_id) == (1, None)


def test_a_pressure_without_a_unit_is_in_the_settled_one(ledger: Ledger) -> None:
    assert "a unit is needed" in run("player", "Morag", "--blows", "28").stderr
    run("settings", "--pressure", "mbar")
    assert run("player", "Morag", "--blows", "68").exit_code == 0
    assert run("strength", "1", "--playing", "70").exit_code == 0
    with ledger.reading() as reader:
        row = reader.find(PlayerRecord, "name", "Morag")
    assert row is not None
    assert row.blows_kpa == pytest.approx(6.8)
    # A unit that is told wins.
    run("player", "Morag", "--blows", "7 kPa")
    with ledger.reading() as reader:
        row = reader.find(PlayerRecord, "name", "Morag")
    assert row is not None
    assert row.blows_kpa == pytest.approx(7.0)


@pytest.mark.usefixtures("ledger")
def test_whom_to_choose_for() -> None:
    assert "Say for whom" in run("choose").stderr
    run("settings", "--player", "Morag")
    result = run("choose")
    assert (result.exit_code, "For Morag." in result.stderr) == (0, True)


@pytest.mark.usefixtures("ledger")
def test_times_are_those_on_the_wall_and_json_keeps_utc() -> None:
    run("settings", "--zone", "Pacific/Kiritimati")
    at = json.loads(run("history", "--last", "1", "--json").stdout)[0]["at"]
    assert at.endswith("Z")
    day, clock = at[:10], int(at[11:13])
    table = run("history", "--last", "1").stdout
    assert f"{(clock + 14) % 24:02d}:{at[14:16]}" in table
    assert "UTC" not in table
    run("settings", "--zone", "UTC")
    assert f"{day} {at[11:16]}" in run("history").stdout


@pytest.mark.usefixtures("ledger")
def test_labels_and_cards_know_the_band() -> None:
    def size(*more: str) -> tuple[int, int]:
        assert run("labels", "--out", "labels.pdf", *more).exit_code == 0
        page = PdfReader("labels.pdf").pages[0].mediabox
        return round(float(page.width)), round(float(page.height))

    a4, letter = (595, 842), (612, 792)
    assert size() == a4
    run("settings", "--paper", "Letter", "--name", "Ellerquay and District")
    assert (size(), size("--paper", "A4")) == (letter, a4)
    assert run("card", "1", "--out", "card.pdf").exit_code == 0
    said = " ".join(PdfReader("card.pdf").pages[0].extract_text().split())
    assert "by Ellerquay and District" in said


@pytest.mark.usefixtures("ledger")
def test_it_goes_out_and_comes_in_with_everything_else(tmp_path: Path) -> None:
    run("settings", "--pitch", "478", "--player", "Morag")
    assert run("export", "bands", "--to", "bands.csv").exit_code == 0
    (row,) = csv.DictReader((tmp_path / "bands.csv").read_text(encoding="utf-8").splitlines())
    assert row["low_a_hz [Hz]"] == "478.0"
    assert run("export", "--to", "all.json").exit_code == 0
    came = run("import", "all.json", "--ledger", "other.db", "--new", "--yes")
    assert came.exit_code == 0, came.stderr
    other = band_defaults(open_ledger(str(tmp_path / "other.db")))
    assert (other.low_a_hz, other.player) == (478.0, "Morag")


def test_breaking_in_is_settled_once_for_plans_and_forecasts(ledger: Ledger) -> None:
    """Told for one plan, other sessions win; the control: nothing is settled."""
    with ledger.act("import", who="A", said="from paper") as act:
        for day, kpa in ((9, 6.7), (7, 6.4), (5, 6.3), (3, 6.25), (2, 6.25)):
            at = written(ledger.clock() - timedelta(days=day))
            act.insert("strengths", {"reed_id": 1, "at": at, "onset_kpa": kpa, "given_unit": "kPa"})
            act.insert("plays", {"reed_id": 1, "at": at, "minutes": 10.0})
    by = f"{ledger.clock() + timedelta(days=100):%Y-%m-%d}"

    def planned(*more: str) -> list[float]:
        told = ("calendar", "--by", by, "--reed", "1", "--minutes", "100", "--json")
        return [one["minutes"] for one in json.loads(run(*told, *more).stdout)["sessions"]][:3]

    assert planned() == [10, 10, 12]
    told = ("--sessions", "3, 4 4 9", "--rest", "30", "--settled-onset", "0.4 inH2O")
    assert run("settings", *told, "--settled-low-a", "2", "--settled-sessions", "2").exit_code == 0
    assert planned() == [9, 9, 9]
    assert planned("--sessions", "6") == [6, 6, 6]
    usual = band_defaults(ledger)
    assert (usual.ladder.minutes, usual.ladder.rest_h) == ((3, 4, 4, 9), 30)
    assert usual.rule.onset_kpa == pytest.approx(0.4 * 0.249089, rel=1e-4)
    assert (usual.rule.low_a_cents, usual.rule.sessions) == (2, 2)
    page = " ".join(run("settings").stdout.split())
    assert "3, 2 of 4 and 9 min" in page
    assert "over 2 sessions onset moves by less than 0.4 inH2O" in page
    for option in ("--sessions", "--rest", "--settled-onset", "--settled-low-a", "--settled-sessions"):
        run("settings", option, "")
    assert (band_defaults(ledger).ladder, band_defaults(ledger).rule) == (USUAL_LADDER, USUAL_RULE)
    assert planned() == [10, 10, 12]


@pytest.mark.usefixtures("ledger")
def test_a_laxer_rule_calls_a_reed_settled_sooner() -> None:
    for blown in ("26", "24", "23"):
        run("strength", "1", "--onset", f"{blown} inH2O")
        run("play", "1", "--minutes", "10")

    def sure(*told: str) -> float:
        return float(json.loads(run("forecast", "1", "--json", *told).stdout)["settled"]["chance"])

    strict = sure()
    run("settings", "--settled-onset", "6 inH2O", "--settled-low-a", "60")
    assert sure() > strict + 0.05
    assert sure("--onset", "0.5 inH2O", "--low-a", "3") == pytest.approx(strict)


def test_sessions_that_are_none_come_in_and_the_usual_ones_do(ledger: Ledger) -> None:
    settle(ledger, {"sessions": "5, 6"}, who="A")
    with ledger.act("settings", who="A", said="from elsewhere") as act:
        (row,) = act.rows(BandRecord)
        act.update(row, {"session_minutes": "soon, later"})
    assert band_defaults(ledger).ladder == USUAL_LADDER


def test_what_is_sent_as_it_was_shown_settles_nothing_anew(ledger: Ledger) -> None:
    """A page sends all it shows: an onset in kPa, a pitch of nine digits. The control: another of each."""
    settle(ledger, {"settled_onset": "0.12 kPa", "pitch": "478.123456"}, who="A")
    shown = settled(ledger).values
    assert (shown["settled_onset"], shown["pitch"]) == ("0.482 inH2O", "478.123")
    settle(ledger, {**shown, "name": "Quay"}, who="B")
    with ledger.reading() as reader:
        assert reader.history()[0].said == "settled name: Quay"
    assert band_defaults(ledger).rule.onset_kpa == 0.12
    assert band_defaults(ledger).low_a_hz == 478.123456
    settle(ledger, {**shown, "settled_onset": "0.48 inH2O", "pitch": "478.12"}, who="B")
    assert band_defaults(ledger).rule.onset_kpa == pytest.approx(0.48 * 0.249089, rel=1e-4)
    assert band_defaults(ledger).low_a_hz == 478.12
