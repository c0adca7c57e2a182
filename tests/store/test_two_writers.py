"""Two processes write at once: nobody is turned away, nothing is lost, and every act is entire."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from canebench.store.ledger import open_ledger
from canebench.store.records import ReedRecord
from canebench.store.refused_edits import StaleEditError
from support.ledgers import dump_of, row_of, take_in

if TYPE_CHECKING:
    from collections.abc import Callable

_PROCESS = Path(__file__).parent / "writing_process.py"
_ACTS = 200
_NAMES = ("Ailsa", "Bram")


def test_two_processes_write_two_hundred_acts_each(fresh: Callable[[str], str], dialect: str) -> None:
    url = fresh(dialect)
    ledger = open_ledger(url)
    take_in(ledger, count=1)
    writers = [
        subprocess.Popen([sys.executable, str(_PROCESS), url, name, str(_ACTS)], stderr=subprocess.PIPE)
        for name in _NAMES
    ]
    said = [writer.communicate(timeout=120)[1].decode() for writer in writers]
    assert said == ["", ""]
    dump = dump_of(ledger)
    assert dump["reeds"][0]["remarks"] == str(2 * _ACTS)
    assert dump["reeds"][0]["version"] == 2 * _ACTS + 1
    assert {row["remarks"] for row in dump["plays"]} == {f"{n} {i}" for n in _NAMES for i in range(_ACTS)}
    assert [act["id"] for act in dump["acts"]] == list(range(1, 2 * _ACTS + 2))
    assert len(dump["changes"]) == 2 + 2 * 2 * _ACTS
    for name in _NAMES:
        mine = [act["said"] for act in dump["acts"] if act["who"] == name and act["kind"] == "play"]
        assert mine == [f"{name} {number}" for number in range(_ACTS)]


def test_control_what_was_read_before_another_wrote_is_refused(fresh: Callable[[str], str]) -> None:
    """Read in one transaction and written in another, the count would fall behind: the version tells."""
    ledger = open_ledger(fresh("sqlite"))
    _, (reed,) = take_in(ledger, count=1)
    read = row_of(ledger, ReedRecord, reed)
    with ledger.act("count", who="Ailsa", said="x") as act:
        act.update(read, {"remarks": "1"})
    with (
        pytest.raises(StaleEditError, match="nothing then, “1” now"),
        ledger.act("count", who="Bram", said="x") as act,
    ):
        act.update(read, {"remarks": "1"})
