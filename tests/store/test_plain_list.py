"""A plain list of reeds: number, lot and state come in, with the lots it names and since when: now."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.ledger import the_ledger
from canebench.bench.acts.upkeep.exchange import ImportChoices, bring_in, look_over, sheets_of
from canebench.store.exchange.findings import ImportRefusedError
from canebench.store.exchange.importing import check_import
from canebench.store.records import LotRecord, ReedRecord

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.bench.acts.upkeep.exchange import TableFound
    from canebench.store.ledger import Ledger

_LIST = "number,lot,state\n1,spring,new\n2,spring,settled\n3,box 2,new\n4,,new\n"
_CHOICES = ImportChoices(ids="renumbered", duplicates="skip")


@pytest.fixture
def bench(tmp_path: Path) -> Ledger:
    return the_ledger(str(tmp_path / "ledger.db"))


def _brought(bench: Ledger, tmp_path: Path, text: str, choices: ImportChoices = _CHOICES) -> None:
    path = tmp_path / "reeds.csv"
    path.write_text(text, encoding="utf-8")
    bring_in(bench, sheets_of(path, table="reeds"), choices, who="t", said="brought in")


def _looked(bench: Ledger, tmp_path: Path, text: str) -> dict[str, TableFound]:
    path = tmp_path / "reeds.csv"
    path.write_text(text, encoding="utf-8")
    return look_over(bench, sheets_of(path, table="reeds"), _CHOICES)


def test_it_comes_in_with_its_lots(bench: Ledger, tmp_path: Path) -> None:
    found = _looked(bench, tmp_path, _LIST)
    assert found["lots"].fitting == 2
    assert (found["reeds"].fitting, found["reeds"].since_now, found["reeds"].problem_count) == (4, 4, 0)
    _brought(bench, tmp_path, _LIST)
    with bench.reading() as reader:
        lots = {row.id: (row.name, row.count) for row in reader.rows(LotRecord)}
        reeds = {row.number: row for row in reader.rows(ReedRecord)}
        act = reader.history(limit=2)
    assert sorted(lots.values()) == [("box 2", 1), ("spring", 2)]
    assert lots[reeds["2"].lot_id or 0][0] == "spring"
    assert reeds["4"].lot_id is None
    assert {row.state_since[:10] for row in reeds.values()} == {act[0].at[:10]}
    # One act: all of it goes with one undo.
    assert len(act) == 1


def test_a_blank_among_dates_is_since_now_too(bench: Ledger, tmp_path: Path) -> None:
    found = _looked(bench, tmp_path, "number,state,state_since\n1,new,2026-03-01\n2,new,\n")["reeds"]
    assert (found.fitting, found.since_now) == (2, 1)


def test_control_without_a_moment_the_column_is_needed(bench: Ledger, tmp_path: Path) -> None:
    path = tmp_path / "reeds.csv"
    path.write_text(_LIST, encoding="utf-8")
    with bench.reading() as reader:
        found = check_import(reader, sheets_of(path), _CHOICES)["reeds"]
    assert [one.column for one in found.problems if one.allowed == "it is needed"] == ["state_since"]


def test_what_differs_in_letters_alone_is_asked_about(bench: Ledger, tmp_path: Path) -> None:
    _brought(bench, tmp_path, _LIST)
    again = _looked(bench, tmp_path, "number,lot,state\n01,spring,new\n9,Spring,new\n1,spring,new\n")["reeds"]
    assert [(one.row, one.nearest) for one in again.problems] == [(3, "spring"), (2, "1")]
    assert again.duplicate_count == 1
    with pytest.raises(ImportRefusedError, match="Nearest that works"):
        _brought(bench, tmp_path, "number,lot,state\n01,spring,new\n")
    with bench.reading() as reader:
        assert reader.count(ReedRecord) == 4


def test_a_state_is_never_assumed(bench: Ledger, tmp_path: Path) -> None:
    found = _looked(bench, tmp_path, "number,lot\n1,spring\n")["reeds"]
    assert [(one.column, one.allowed) for one in found.problems] == [("state", "it is needed")]
