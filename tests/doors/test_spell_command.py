"""A spell of playing: written down with the strength after it, mended and taken back long afterwards."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from canebench.store.ledger import open_ledger
from canebench.store.records import PlayRecord, StrengthRecord
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.store.records import Record


@pytest.fixture
def ledger(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:
    url = str(tmp_path / "ledger.db")
    monkeypatch.setenv("CANEBENCH_LEDGER", url)
    monkeypatch.setenv("CANEBENCH_WHO", "Ailsa")
    assert run("lot", "spring", "--count", "2").exit_code == 0
    assert run("settings", "--zone", "Europe/London").exit_code == 0
    for name in ("Morag", "Effie"):
        assert run("player", name, "--blows", "28 inH2O", "--ceiling", "32 inH2O").exit_code == 0
    return url


def _rows(url: str, record: type[Record]) -> list[Any]:
    with open_ledger(url).reading() as reader:
        return reader.rows(record)


def _last_said(url: str) -> str:
    with open_ledger(url).reading() as reader:
        return reader.history(limit=1)[0].said


def _json(*arguments: str) -> Any:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def test_minutes_and_the_strength_after_are_one_act(ledger: str) -> None:
    assert run("play", "1", "--minutes", "12", "--player", "Morag", "--playing", "26 inH2O").exit_code == 0
    assert _last_said(ledger) == "played reed 1 for 12 min, plays at 26 inH2O after"
    (spell,), (reading,) = _rows(ledger, PlayRecord), _rows(ledger, StrengthRecord)
    assert reading.playing_kpa == pytest.approx(26 * 0.249089)
    assert reading.player_id == spell.player_id is not None
    # Its minutes count as played before the reading.
    assert spell.at < reading.at
    assert run("undo").exit_code == 0
    assert _rows(ledger, PlayRecord) == _rows(ledger, StrengthRecord) == []


def test_by_mouth_and_without_a_strength(ledger: str) -> None:
    assert run("play", "1", "--minutes", "12", "--by-mouth", "same", "--than", "2").exit_code == 0
    assert _rows(ledger, StrengthRecord)[0].by_mouth == "same"
    assert run("play", "1", "--minutes", "5").exit_code == 0
    assert _last_said(ledger) == "played reed 1 for 5 min"
    assert [len(_rows(ledger, kind)) for kind in (PlayRecord, StrengthRecord)] == [2, 1]


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (
            ["--minutes", "-12"],
            "minutes: -12 min was given; from 0 to 1440 min is allowed. Nearest that works: 12",
        ),
        (["--minutes", "1441"], "minutes: 1441 min was given; from 0 to 1440"),
        (
            ["--playing", "300 inH2O"],
            "playing pressure: 300 inH2O was given; from 0 to 100 inH2O is allowed. Nearest",
        ),
        (["--playing", "-26 inH2O"], "26 inH2O, without the minus sign"),
        (["--playing", "strong"], "a number with its unit is needed"),
        (["--by-mouth", "same"], "strength by mouth: half of it was given"),
        (["--by-mouth", "soft", "--than", "2"], "strength by mouth: 'soft' was given"),
        (["--by-mouth", "same", "--than", "9"], "There is no reed 9"),
    ],
)
def test_nothing_is_written_of_what_cannot_be(ledger: str, told: list[str], said: str) -> None:
    minutes = [] if "--minutes" in told else ["--minutes", "12"]
    refused = run("play", "1", *minutes, *told)
    assert refused.exit_code in (4, 5)
    assert said in " ".join(refused.stderr.split())
    assert _rows(ledger, PlayRecord) == _rows(ledger, StrengthRecord) == []


def test_a_spell_is_mended_after_other_acts_and_its_reading_follows(ledger: str) -> None:
    run("play", "1", "--minutes", "12", "--player", "Morag", "--playing", "26 inH2O")
    run("strength", "1", "--playing", "25 inH2O", "--player", "Morag")
    run("play", "1", "--minutes", "3")
    run("ease", "1")
    done = _json("spell", "1", "--minutes", "10,5", "--at", "2026-07-15 19:05", "--player", "Effie")
    assert (done["before"]["minutes"], done["now"]["minutes"]) == (12, 10.5)
    assert (done["before"]["player"], done["now"]["player"]) == ("Morag", "Effie")
    # By the band's clock, kept in UTC.
    assert done["now"]["at"] == "2026-07-15T18:05:00.000Z"
    said = _last_said(ledger)
    assert said.startswith("mended 12 min of playing reed 1, ")
    assert "10.5 min, before 12 min; 2026-07-15 19:05, before " in said
    assert said.endswith("; Effie, before Morag")
    first, other = _rows(ledger, StrengthRecord)
    assert first.at == "2026-07-15T18:05:00.001Z"
    assert first.player_id == _rows(ledger, PlayRecord)[0].player_id
    # Control: a reading of an act of its own stays where it was.
    assert other.at > "2026-07-16"
    assert run("undo").exit_code == 0
    assert [(one["minutes"], one["player"]) for one in _json("spell", "--reed", "1")] == [
        (3, None),
        (12, "Morag"),
    ]
    assert min(one.at for one in _rows(ledger, StrengthRecord)) > "2026-07-16"


def test_what_is_not_told_stays(ledger: str) -> None:
    run("play", "1", "--minutes", "12", "--player", "Morag")
    before = _json("spell", "1")
    assert _json("spell", "1", "--minutes", "10")["now"] == {**before, "minutes": 10}
    assert _json("spell", "1", "--player", "")["now"] == {**before, "minutes": 10, "player": None}
    same = run("spell", "1", "--minutes", "10")
    assert same.exit_code == 4
    assert "nothing new was given" in same.stderr
    assert _last_said(ledger).endswith("not told who, before Morag")


def test_a_spell_taken_back_takes_the_reading_after_it_along(ledger: str) -> None:
    run("play", "1", "--minutes", "12", "--playing", "26 inH2O")
    run("strength", "1", "--playing", "25 inH2O")
    assert _json("spell", "1", "--take-back")["now"] is None
    assert "with the strength read after it" in _last_said(ledger)
    assert _rows(ledger, PlayRecord) == []
    assert [round(one.playing_kpa / 0.249089) for one in _rows(ledger, StrengthRecord)] == [25]
    assert run("spell", "1", "--minutes", "3").exit_code == 5
    assert run("undo").exit_code == 0
    assert len(_rows(ledger, StrengthRecord)) == 2
    assert _json("spell", "1")["minutes"] == 12


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (
            ["--minutes", "-1"],
            "minutes: -1 min was given; from 0 to 1440 min is allowed. Nearest that works: 1 min",
        ),
        (["--minutes", "1500"], "minutes: 1500 min was given"),
        (["--minutes", "ten"], "minutes: 'ten' was given; a number is needed"),
        (
            ["--at", "2026-03-29 01:30"],
            "when: 2026-03-29 01:30 was given; the clocks in Europe/London went forward",
        ),
        (
            ["--at", "2025-10-26 01:30"],
            "Nearest that works: 2025-10-26 01:30+01:00 or 2025-10-26 01:30+00:00",
        ),
        (
            ["--at", "2150-01-01 12:00"],
            "when: '2150-01-01 12:00' was given; a time from 1900 until now is needed",
        ),
        (
            ["--at", f"{datetime.now(UTC) + timedelta(hours=26):%Y-%m-%d %H:%M}"],
            "it lies before now. Nearest",
        ),
        (["--player", "morag"], "Did you mean Morag?"),
    ],
)
def test_what_cannot_have_been_is_refused_by_field(ledger: str, told: list[str], said: str) -> None:
    run("play", "1", "--minutes", "12")
    before = _rows(ledger, PlayRecord)
    refused = run("spell", "1", *told)
    assert refused.exit_code in (4, 5)
    assert said in " ".join(refused.stderr.split())
    assert _rows(ledger, PlayRecord) == before


def test_two_spells_of_a_reed_are_not_at_one_time(ledger: str) -> None:
    for reed in ("1", "1", "2"):
        run("play", reed, "--minutes", "12")
    assert run("spell", "1", "--at", "2026-07-15 19:05").exit_code == 0
    refused = run("spell", "2", "--at", "2026-07-15 19:05")
    assert refused.exit_code == 4
    assert "Nearest that works: 2026-07-15 19:04" in " ".join(refused.stderr.split())
    # Control: another reed's may be.
    assert run("spell", "3", "--at", "2026-07-15 19:05").exit_code == 0
    assert len(_rows(ledger, PlayRecord)) == 3


@pytest.mark.usefixtures("ledger")
@pytest.mark.parametrize(
    "arguments", [["--minutes", "3"], ["1", "--reed", "1"], ["1", "--take-back", "--minutes", "3"]]
)
def test_which_spell_and_what_of_it_has_to_be_said(arguments: list[str]) -> None:
    assert run("spell", *arguments).exit_code == 2
