"""The room of a take, written down later: kept, listed, undone, refused where it cannot be."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from canebench.base.errors import NotFoundError
from canebench.bench.acts.reeds.weather import note_conditions
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import TakeRecord
from doors.run import run
from support.ledgers import Clock, dump_of

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def ledger(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ledger:
    """Two takes; nothing told of the rooms."""
    monkeypatch.setenv("CANEBENCH_LEDGER", str(tmp_path / "ledger.db"))
    ledger = open_ledger(str(tmp_path / "ledger.db"), clock=Clock())
    with ledger.act("begin", who="A", said="begin") as act:
        reed = act.insert("reeds", {"number": "7", "state": "new", "state_since": act.at})
        fixed = {"origin": "x", "source": "typed", "scale": "harmonic", "reference": "low-a"}
        for day in ("2026-03-01", "2026-03-02"):
            act.insert("takes", {**fixed, "reed_id": reed, "at": f"{day}T10:00:00.000Z"})
    return ledger


def test_conditions_are_kept_listed_and_undone(ledger: Ledger) -> None:
    before = dump_of(ledger)["takes"]
    said = run("conditions", "1", "--room-degc", "0", "--room-rh", "55").stdout
    assert " ".join(said.split()) == (
        "Take 1: room 0 °C, relative humidity 55 %, pipes played not told before."
    )
    run("conditions", "1", "--warm", "20.5")
    listed = json.loads(run("conditions", "--json").stdout)
    assert [(one["take"], one["reed"], one["room_degc"], one["warm_min"]) for one in listed] == [
        (2, "7", None, None),
        (1, "7", 0.0, 20.5),
    ]
    page = run("conditions").stdout
    for words in ("0 °C", "55 %", "20.5 min", "2026-03-02"):
        assert words in page
    for _ in range(2):
        assert run("undo").exit_code == 0
    told = ("room_degc", "room_rh", "warm_min")
    assert [[row[name] for name in told] for row in dump_of(ledger)["takes"]] == [
        [row[name] for name in told] for row in before
    ]


@pytest.mark.usefixtures("ledger")
@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("1", "--room-degc", "99"), 4, "from -20 to 60 °C"),
        (("1", "--room-rh", "101"), 4, "from 0 to 100 %"),
        (("1", "--warm", "-1"), 4, "from 0 to 1000 min"),
        (("1",), 4, "temperature, humidity or minutes"),
        (("9", "--warm", "5"), 5, "no take 9"),
        ((str(2**70), "--warm", "5"), 5, "no take"),
        (("--warm", "5"), 2, "Say which take"),
        (("--limit", "0"), 4, "at least 1"),
    ],
)
def test_what_cannot_be_is_refused(words: tuple[str, ...], code: int, said: str) -> None:
    result = run("conditions", *words)
    assert (result.exit_code, said in " ".join(result.stderr.split())) == (code, True), result.stderr


def test_a_take_in_the_bin_has_no_conditions_to_tell(ledger: Ledger) -> None:
    with ledger.act("remove", who="A", said="removed") as act:
        act.remove(act.row(TakeRecord, 1))
    with pytest.raises(NotFoundError, match="in the bin"):
        note_conditions(ledger, 1, who="A", warm_min=5.0)
    assert [one["take"] for one in json.loads(run("conditions", "--json").stdout)] == [2]


def test_no_take_yet(tmp_path: Path) -> None:
    at = ("--ledger", str(tmp_path / "new.db"))
    run("lot", "spring", "--count", "1", *at, "--new")
    assert "No take here yet" in run("conditions", *at).stdout
