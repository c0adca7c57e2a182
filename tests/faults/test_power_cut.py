"""The power is cut at any moment: when it is back, every acknowledged act is there and no other half there.

A killed process proves nothing of this: what it had written is still in the machine's memory. Here the
ledger's own SQL, with the ledger's own settings, runs on a disk that loses what was not synced.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import pytest

from canebench.store.ledger import open_ledger
from canebench.store.sqlite import SETTINGS
from support.loads import times
from support.power_cuts import Outcome, logged, outcome_of, with_synchronous

if TYPE_CHECKING:
    from pathlib import Path

_CUTS: Final = times(420, usual=150)
_CONTROL_CUTS: Final = 200


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of an empty ledger."""
    path = tmp_path_factory.mktemp("empty") / "ledger.db"
    open_ledger(str(path))
    return path.read_bytes()


def test_a_power_cut_loses_nothing(empty: bytes, tmp_path: Path) -> None:
    """With the rollback journal, a connection for each act, as the ledger does."""
    outcome = outcome_of(empty, tmp_path, SETTINGS, cuts=_CUTS)
    assert outcome == Outcome(cuts=_CUTS, lost=0, corrupt=0)


@pytest.mark.parametrize("keep_open", [False, True])
def test_a_power_cut_loses_nothing_with_a_log(empty: bytes, tmp_path: Path, keep_open: bool) -> None:
    """With the write-ahead log of a newer SQLite, closed after each act or kept open by others."""
    outcome = outcome_of(empty, tmp_path, logged(SETTINGS), cuts=_CUTS, keep_open=keep_open)
    assert outcome == Outcome(cuts=_CUTS, lost=0, corrupt=0)


def test_a_power_cut_loses_nothing_where_writes_keep_their_order(empty: bytes, tmp_path: Path) -> None:
    """As many file systems do: what was written before a sync is there with it, and nothing later before."""
    outcome = outcome_of(empty, tmp_path, SETTINGS, cuts=_CONTROL_CUTS, ordered=True)
    assert outcome == Outcome(cuts=_CONTROL_CUTS, lost=0, corrupt=0)


def test_control_where_writes_keep_their_order_a_lesser_setting_loses_too(
    empty: bytes, tmp_path: Path
) -> None:
    outcome = outcome_of(empty, tmp_path, with_synchronous("FULL"), cuts=_CONTROL_CUTS, ordered=True)
    assert outcome.lost > 0
    assert outcome.corrupt == 0


@pytest.mark.parametrize("synchronous", ["FULL", "NORMAL"])
def test_control_the_lesser_settings_lose_acts(empty: bytes, tmp_path: Path, synchronous: str) -> None:
    """A deleted journal that comes back takes the act with it: neither setting syncs its folder."""
    assert outcome_of(empty, tmp_path, with_synchronous(synchronous), cuts=_CONTROL_CUTS).lost > 0


def test_control_a_log_that_is_not_synced_loses_acts(empty: bytes, tmp_path: Path) -> None:
    settings = logged(with_synchronous("NORMAL"))
    assert outcome_of(empty, tmp_path, settings, cuts=_CONTROL_CUTS, keep_open=True).lost > 0


def test_control_without_any_sync_the_ledger_is_damaged(empty: bytes, tmp_path: Path) -> None:
    assert outcome_of(empty, tmp_path, with_synchronous("OFF"), cuts=_CONTROL_CUTS).corrupt > 0
