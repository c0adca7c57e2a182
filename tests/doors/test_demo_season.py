"""The invented season: a shop in good order, made in one command, kept apart, removed in one command."""

from __future__ import annotations

import errno
from collections import Counter
from pathlib import Path

import pytest

from canebench.base.units import hz_to_cents
from canebench.bench.acts.upkeep import demo_season
from canebench.bench.acts.upkeep.demo_reeds import REEDS
from canebench.bench.views.fitting_now import FittingNow, Fittings
from canebench.fitting.acts import Act
from canebench.fitting.limits import MOST_PINCHES
from canebench.store.database import LedgerError
from canebench.store.ledger import open_ledger
from canebench.store.records import EaseRecord, PitchRecord, PlayerRecord, PlayRecord, ReedRecord, TakeRecord
from doors.run import run

#: What is said of each reed that was measured: the four of the season, and one for each verdict.
_VERDICTS = {
    "1": Act.LEAVE,
    "2": Act.LEAVE,
    "3": Act.LEAVE,
    "4": Act.LEAVE,
    "19": Act.BREAK_IN,
    "20": Act.TAPE,
    "21": Act.SEAT_DEEPER,
    "22": Act.RAISE_WITH_HEMP,
    "23": Act.SET_ASIDE,
    "24": Act.CHECK_THE_SEAT,
}
#: What is finished is in tune within this, and what is out is out by more than any tolerance, cents.
_IN_TUNE_CENTS, _CLEARLY_OUT_CENTS = 1.5, 8.0


@pytest.fixture
def fittings(season: Path) -> dict[str, FittingNow]:
    """Each measured reed's fitting as it stands, by number."""
    ledger = open_ledger(str(season / "ledger.db"))
    with ledger.reading() as reader:
        pairs = {(take.reed_id, take.chanter_id) for take in reader.rows(TakeRecord)}
    asked = Fittings(ledger)
    found = [asked.now(reed, chanter) for reed, chanter in pairs if reed is not None and chanter is not None]
    return {one.reed.number: one for one in found}


def _verdicts(fittings: dict[str, FittingNow]) -> dict[str, Act]:
    return {number: one.plan.next_act.act for number, one in fittings.items() if one.plan is not None}


def test_a_season_is_made_and_removed(tmp_path: Path) -> None:
    folder = tmp_path / "try"
    assert run("demo", str(folder)).exit_code == 0
    with open_ledger(str(folder / "ledger.db")).reading() as reader:
        assert reader.count(ReedRecord) == 24
        assert reader.count(PlayerRecord) == 4
        assert reader.count(TakeRecord) == 18
        assert reader.count(PlayRecord) == 35
        states = Counter(reed.state for reed in reader.rows(ReedRecord))
    assert states == {"new": 14, "settled": 4, "on trial": 4, "breaking in": 1, "set aside": 1}
    assert "settled" in run("reed", "1", "--ledger", str(folder / "ledger.db")).stdout
    assert run("demo", str(folder)).exit_code == 4
    assert run("demo", str(folder), "--remove").exit_code == 0
    assert not folder.exists()


def test_each_verdict_has_a_reed_that_teaches_it(fittings: dict[str, FittingNow]) -> None:
    """The plan's own word for each fitting, so that neither rules nor season drift unseen."""
    assert _verdicts(fittings) == _VERDICTS


def test_a_finished_fitting_is_in_tune_and_has_nothing_to_do(fittings: dict[str, FittingNow]) -> None:
    for number, one in fittings.items():
        if one.reed.state != "settled":
            continue
        assert one.plan is not None
        assert one.plan.steps == ()
        assert not one.plan.doubtful
        worst = max(abs(deviation.cents) for deviation in one.plan.now.values())
        assert worst <= _IN_TUNE_CENTS, number
    assert {number for number, one in fittings.items() if one.reed.state == "settled"} == set("1234")


def test_what_is_out_is_clearly_out(fittings: dict[str, FittingNow]) -> None:
    """No verdict hangs on a cent: notes are within the one bound, or the reed's fault is beyond the other."""
    for number in ("19", "20", "23"):
        plan = fittings[number].plan
        assert plan is not None
        off = sorted(abs(deviation.cents) for deviation in plan.now.values())
        assert off[-2] <= _IN_TUNE_CENTS
        assert off[-1] >= _CLEARLY_OUT_CENTS
    for number in ("21", "22", "24"):
        plan = fittings[number].plan
        assert plan is not None
        assert abs(plan.now["high A"].cents) >= 12.0


def test_none_is_spoilt_and_each_tells_what_it_teaches(season: Path, fittings: dict[str, FittingNow]) -> None:
    with open_ledger(str(season / "ledger.db")).reading() as reader:
        pinches = Counter(ease.reed_id for ease in reader.rows(EaseRecord) if ease.how == "pinch")
    assert all(count < MOST_PINCHES for count in pinches.values())
    for one in fittings.values():
        assert one.reed.remarks
        assert one.reed.remarks.endswith(".")
        assert one.player is not None
        assert one.reed.player_id == one.player.id
    assert {reed.number for reed in REEDS} == set(fittings) == set(_VERDICTS)


def test_a_settled_reed_was_measured_before_after_and_at_the_end(season: Path) -> None:
    """The method: a take, one act, a take; played in; and low A has not moved by 3 cents since."""
    with open_ledger(str(season / "ledger.db")).reading() as reader:
        for number, takes in (("1", 3), ("2", 3), ("3", 3), ("4", 2)):
            reed = reader.find(ReedRecord, "number", number)
            assert reed is not None
            kept = reader.rows(TakeRecord, {"reed_id": reed.id}, order="at")
            assert len(kept) == takes
            last, before = (
                next(p.hz for p in reader.rows(PitchRecord, {"take_id": take.id}) if p.note == "low A")
                for take in kept[-2:][::-1]
            )
            assert abs(hz_to_cents(last, before)) < 3.0
            assert kept[-1].at > kept[0].at[:8] + "20"


def test_a_season_that_drifted_would_be_noticed(fittings: dict[str, FittingNow]) -> None:
    """The control: the reed with the flat note is no longer what it teaches once its name is another's."""
    swapped = {**fittings, "19": fittings["20"], "20": fittings["19"]}
    assert _verdicts(swapped) != _VERDICTS


def test_nothing_but_a_demo_is_removed(tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "ledger.db").write_bytes(b"precious")
    assert run("demo", str(mine), "--remove").exit_code == 4
    assert run("demo", str(mine)).exit_code == 4
    assert (mine / "ledger.db").read_bytes() == b"precious"


def test_a_folder_that_cannot_be_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One below a file, a file, and a disk that may only be read; control: another folder is filled."""
    (tmp_path / "file").write_text("x")
    for place in ("file/demo", "file"):
        refused = run("demo", str(tmp_path / place))
        assert refused.exit_code == 4, place
        assert "cannot be made" in " ".join(refused.stderr.split())

    def read_only(*_: object, **__: object) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    with monkeypatch.context() as patched:
        patched.setattr(Path, "mkdir", read_only)
        refused = run("demo", str(tmp_path / "demo"))
    assert refused.exit_code == 4
    assert "Read-only file system" in refused.stderr
    assert run("demo", str(tmp_path / "demo")).exit_code == 0
    with monkeypatch.context() as patched:
        patched.setattr(Path, "unlink", read_only)
        refused = run("demo", str(tmp_path / "demo"), "--remove")
    assert refused.exit_code == 4
    assert "cannot be removed" in " ".join(refused.stderr.split())


def test_half_a_season_that_cannot_be_taken_away_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk stays broken; controls: where it is full alone, nothing is left; later on all is removed."""

    def broken(*_: object, **__: object) -> None:
        raise OSError(errno.EIO, "Input/output error")

    def full(*_: object, **__: object) -> None:
        raise LedgerError("The disk is full. Nothing was changed.")

    folder = tmp_path / "demo"
    monkeypatch.setattr(demo_season, "take_in_lot", full)
    assert "Nothing was changed" in " ".join(run("demo", str(folder)).stderr.split())
    assert not folder.exists()
    with monkeypatch.context() as patched:
        patched.setattr(Path, "unlink", broken)
        refused = run("demo", str(folder))
    said = " ".join(refused.stderr.split())
    assert refused.exit_code != 0
    assert "Nothing was changed" not in said
    assert "could not be taken away again" in said
    assert f"canebench demo {folder} --remove" in refused.stderr.replace("\n", " ").replace("  ", " ")
    assert run("demo", str(folder), "--remove").exit_code == 0
    assert not folder.exists()
