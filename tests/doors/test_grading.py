"""A lot graded in one go: by lines of plain text, and by rows of its sheet; what will not do stays out."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from canebench.base.pressure import PressureUnit
from canebench.bench.acts.reeds.grading.grade_rows import ChangedSinceError, TypedRow, grade_rows
from canebench.bench.acts.reeds.grading.graded_rows import graded_rows
from canebench.bench.acts.upkeep.undo_act import undo_act
from canebench.cli.main import cli
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import MouthTestRecord, ReedRecord, StrengthRecord
from doors.run import run
from support.ledgers import Clock

if TYPE_CHECKING:
    from pathlib import Path

_INCHES = PressureUnit.INH2O


@pytest.fixture
def ledger(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:
    url = str(tmp_path / "ledger.db")
    monkeypatch.setenv("CANEBENCH_LEDGER", url)
    monkeypatch.setenv("CANEBENCH_WHO", "Ailsa")
    assert run("lot", "spring", "--count", "5").exit_code == 0
    assert run("lot", "summer", "--count", "2").exit_code == 0
    for name in ("Morag", "Effie"):
        assert run("player", name, "--blows", "28 inH2O").exit_code == 0
    return url


def _listed(text: str, *arguments: str) -> tuple[int, Any]:
    command = ["strength", "--lot", "spring", "--from", "-", "--json", *arguments]
    result = CliRunner().invoke(cli, command, input=text, prog_name="canebench")
    return result.exit_code, json.loads(result.stdout)


def _readings(url: str) -> list[tuple[int, float | None, str | None, int | None]]:
    with open_ledger(url).reading() as reader:
        rows = reader.rows(StrengthRecord, order="reed_id")
    return [(row.reed_id, row.playing_kpa, row.by_mouth, row.than_reed_id) for row in rows]


def test_a_list_is_graded_in_one_act(ledger: str) -> None:
    text = "# the new box\n1 28 inH2O\n\n2  7,5 kPa\n3 a little stronger than 1\n"
    code, told = _listed(text)
    assert (code, told["numbers"], told["refused"]) == (0, ["1", "2", "3"], [])
    kpa = pytest.approx(6.9745, abs=1e-4)
    assert _readings(ledger) == [
        (1, kpa, None, None),
        (2, 7.5, None, None),
        (3, None, "a little stronger", 1),
    ]
    assert run("undo").exit_code == 0
    assert _readings(ledger) == []


def test_what_will_not_do_is_told_by_its_line_and_the_rest_is_written(ledger: str, tmp_path: Path) -> None:
    path = tmp_path / "box.txt"
    path.write_text("1 28\n2 abc\n3 280\n9 28\n1 29\n4\n6 28\n5 7.2\n", encoding="utf-8")
    result = run("strength", "--lot", "spring", "--from", str(path), "--unit", "inH2O", "--json")
    assert result.exit_code == 4
    told = json.loads(result.stdout)
    assert told["numbers"] == ["1"]
    why = {one["line"]: one["why"] for one in told["refused"]}
    assert list(why) == [2, 3, 4, 5, 6, 7, 8]
    assert "a number in inH2O is needed" in why[2]
    assert "28 inH2O, if the decimal point slipped" in why[3]
    assert "There is no reed 9" in why[4]
    assert "line 1 has that reed already" in why[5]
    assert "7 28 inH2O" in why[6]
    assert "not in this lot" in why[7]
    assert "Nearest that works: 7.2 kPa" in why[8]
    assert len(_readings(ledger)) == 1
    said = run("strength", "--lot", "spring", "--from", str(path), "--unit", "inH2O")
    assert said.exit_code == 4
    assert "Line 2, 2 abc: gauge" in " ".join(said.stderr.split())


def test_without_a_unit_none_is_guessed(ledger: str) -> None:
    code, told = _listed("1 28\n")
    assert code == 4
    assert "a unit is needed too" in told["refused"][0]["why"]
    assert _readings(ledger) == []


@pytest.mark.usefixtures("ledger")
@pytest.mark.parametrize("wrong", [["1", "--lot", "spring"], ["--lot", "spring"], ["--from", "-"], []])
def test_half_of_what_a_list_needs_is_a_slip(wrong: list[str]) -> None:
    assert run("strength", *wrong).exit_code == 2


def test_a_list_again_corrects_this_sitting_and_keeps_other_days(ledger: str) -> None:
    _listed("1 28 inH2O\n")
    _listed("1 29 inH2O\n")
    assert [kpa for _, kpa, _, _ in _readings(ledger)] == [pytest.approx(7.2236, abs=1e-4)]
    clock = Clock()
    bench, reed = Ledger(open_ledger(ledger).database, clock=clock), _reed(ledger, 1)
    with bench.reading() as reader:
        clock.now = clock.now.replace(year=2099)
        assert graded_rows(reader, [reed], unit=_INCHES, now=clock())[0].reading is None


def _reed(url: str, reed_id: int) -> ReedRecord:
    with open_ledger(url).reading() as reader:
        return reader.row(ReedRecord, reed_id)


def _row(bench: Ledger, reed_id: int) -> TypedRow:
    """A row as it stands, nothing typed yet."""
    with bench.reading() as reader:
        reed = reader.row(ReedRecord, reed_id)
        read = graded_rows(reader, [reed], unit=_INCHES, now=bench.clock())[0].read
    return TypedRow(reed_id=reed_id, content=read.content, read=read)


def _typed(row: TypedRow, **told: Any) -> TypedRow:
    return replace(row, content=replace(row.content, **told))


def _graded(bench: Ledger, *rows: TypedRow, player: str | None = None) -> Any:
    return grade_rows(bench, 1, rows, unit=_INCHES, who="Ailsa", player=player)


def test_a_row_is_read_corrected_emptied_and_undone(ledger: str) -> None:
    bench = open_ledger(ledger)
    first = _typed(_row(bench, 1), gauge="28")
    assert _graded(bench, first).said == "graded reed 1 of the lot spring: 28 inH2O"
    assert _graded(bench, first).said == "", "the same once more is nothing new"
    assert _graded(bench, _row(bench, 1)).said == "", "nothing was typed"
    _graded(bench, _typed(_row(bench, 1), gauge="29"))
    assert len(_readings(ledger)) == 1
    _graded(bench, _typed(_row(bench, 1), gauge=""))
    assert _readings(ledger) == []
    undo_act(bench, None, who="Ailsa")
    assert [kpa for _, kpa, _, _ in _readings(ledger)] == [pytest.approx(7.2236, abs=1e-4)]


def test_marks_go_with_the_remarks_and_aside_with_its_reason(ledger: str) -> None:
    bench = open_ledger(ledger)
    row = _typed(_row(bench, 2), marks=("gap", "chip"), remarks="pale")
    graded = _graded(bench, replace(row, aside=True))
    assert graded.said == "graded reed 2 of the lot spring: chip, gap; pale, set aside"
    reed = _reed(ledger, 2)
    assert (reed.remarks, reed.state, reed.state_reason) == ("chip, gap; pale", "set aside", "chip, gap")
    undo_act(bench, None, who="Ailsa")
    assert (_reed(ledger, 2).remarks, _reed(ledger, 2).state) == (None, "new")


def test_a_row_changed_meanwhile_waits_for_an_answer(ledger: str) -> None:
    bench = open_ledger(ledger)
    mine, theirs = _row(bench, 1), _row(bench, 1)
    _graded(bench, _typed(theirs, gauge="30"))
    stale = _typed(mine, gauge="29")
    (refused,) = _graded(bench, stale, _typed(_row(bench, 2), gauge="31")).refused
    assert isinstance(refused.error, ChangedSinceError)
    assert "nothing then, 30 inH2O now. Yours, 29 inH2O, is not written down" in str(refused.error)
    # The other row was; and once more, without an answer, writes nothing over.
    again = _typed(_row(bench, 1), gauge="29")
    assert _graded(bench, replace(again, asked=True)).refused
    assert [kpa for _, kpa, _, _ in _readings(ledger)] == [
        pytest.approx(7.4727, abs=1e-4),
        pytest.approx(7.7218, abs=1e-4),
    ]
    assert not _graded(bench, replace(again, asked=True, over=True)).refused
    assert _readings(ledger)[0][1] == pytest.approx(7.2236, abs=1e-4)


def test_what_another_changed_and_i_did_not_stays_theirs(ledger: str) -> None:
    """A sheet sent as a whole does not put old rows back; remarks and strength are two things."""
    bench = open_ledger(ledger)
    mine = _row(bench, 1)
    _graded(bench, _typed(mine, gauge="30"))
    assert _graded(bench, _typed(mine, remarks="pale")).refused == ()
    assert _readings(ledger)[0][1] == pytest.approx(7.4727, abs=1e-4)
    assert _reed(ledger, 1).remarks == "pale"


def test_one_mouth_is_logged_once_a_sitting_and_others_are_kept_off(ledger: str) -> None:
    bench = open_ledger(ledger)
    _graded(bench, _typed(_row(bench, 1), gauge="28"), player="Morag")
    _graded(bench, _typed(_row(bench, 2), mouth="same", than="1"), player="Morag")
    _graded(bench, _typed(_row(bench, 2), mouth="easier", than="1"), player="Morag")
    with bench.reading() as reader:
        tests = reader.rows(MouthTestRecord)
    assert [(test.reed_id, test.player_id) for test in tests] == [(2, 1)]
    row = _typed(_row(bench, 2), gauge="27", mouth="", than="")
    (refused,) = _graded(bench, row, player="Effie").refused
    assert "rests" in str(refused.error)
    done = _graded(bench, replace(row, insist=True), player="Effie")
    assert "insisted" in done.said


def test_what_another_player_read_stays(ledger: str) -> None:
    bench = open_ledger(ledger)
    for player, gauge in (("Morag", "28"), ("Morag", "29"), ("Effie", "30")):
        _graded(bench, _typed(_row(bench, 1), gauge=gauge), player=player)
    with bench.reading() as reader:
        rows = reader.rows(StrengthRecord)
    assert [(row.player_id, round(row.playing_kpa or 0.0, 2)) for row in rows] == [(1, 7.22), (2, 7.47)]


@pytest.mark.parametrize(
    ("told", "field", "why"),
    [
        ({"gauge": "abc"}, "gauge", "Nearest that works: 30"),
        ({"gauge": "120"}, "gauge", "from 0 to 100 inH2O"),
        ({"gauge": "7"}, "gauge", "Nearest that works: 7 kPa"),
        ({"gauge": "28 psi"}, "gauge", "units allowed are"),
        ({"mouth": "same"}, "mouth", "with which reed"),
        ({"mouth": "harder", "than": "2"}, "mouth", "a little stronger"),
        ({"mouth": "same", "than": "77"}, "than", "no reed has that number"),
        ({"mouth": "same", "than": "1"}, "than", "another reed's number"),
        ({"marks": ("bent",)}, "marks", "chip"),
    ],
)
def test_a_refusal_names_its_field(ledger: str, told: dict[str, Any], field: str, why: str) -> None:
    bench = open_ledger(ledger)
    (refused,) = _graded(bench, _typed(_row(bench, 1), **told)).refused
    assert refused.field == field
    assert why in str(refused.error)
    assert _readings(ledger) == []


def test_a_number_with_its_unit_is_taken_whatever_the_gauge_is_in(ledger: str) -> None:
    bench = open_ledger(ledger)
    rows = [_typed(_row(bench, n), gauge=text) for n, text in ((1, "70 mbar"), (2, "7 inH2O"))]
    assert _graded(bench, *rows).refused == ()
    assert [kpa for _, kpa, _, _ in _readings(ledger)] == [7.0, pytest.approx(1.7436, abs=1e-4)]
