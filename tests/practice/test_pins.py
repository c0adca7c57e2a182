"""Without a meter: how the drones are out tells, against a mark on the pin. Common practice, no source."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from canebench.base.errors import CanebenchError, InputError
from canebench.bench.acts.reeds.drones import cents_a_mm, keep_drone, list_drones, note_pin, what_pin_says
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import PinMarkRecord
from doors.run import run
from support.ledgers import Clock, dump_of, last_act

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return open_ledger(str(tmp_path / "ledger.db"), clock=Clock())


def test_a_longer_drone_is_a_lower_one() -> None:
    out, into = what_pin_says(46.0, 42.0), what_pin_says(38.0, 42.0)
    assert "flat of its usual pitch" in out
    assert "further in" in out
    assert "sharp of its usual pitch" in into
    assert "3 to 4 inches more hemp" in into


def test_how_much_is_said_once_a_meter_told_two_places() -> None:
    # A pipe open at one end, 740 mm long with the pin at 40 mm: its pitch goes as one over its length.
    def mark(pin_mm: float, off_cents: float = 0.0) -> PinMarkRecord:
        hz = 119.0 * 740.0 / (700.0 + pin_mm) * 2 ** (off_cents / 1200)
        return replace(untold, pin_mm=pin_mm, hz=hz)

    untold = PinMarkRecord(
        id=1,
        version=1,
        removed_at=None,
        drone_id=1,
        at="2026-03-01T12:00:00.000Z",
        pin_mm=90.0,
        hz=None,
        sd_hz=None,
        remarks=None,
    )
    assert cents_a_mm([]) is None
    assert cents_a_mm([mark(40.0), mark(43.0), untold]) is None
    known = cents_a_mm([mark(36.0), untold, mark(44.0)])
    assert known is not None
    assert known.sd is not None
    closed_form = -1200 / math.log(2) / 740
    assert abs(known.value - closed_form) < 0.02 * abs(closed_form)
    scattered = cents_a_mm([mark(36.0, 20.0), mark(40.0, -40.0), mark(44.0, 20.0)])
    assert scattered is not None
    assert scattered.sd is not None
    assert scattered.sd > 3 * known.sd
    assert "flat of its usual pitch, by 9.4 ± 2.1 cents" in what_pin_says(46.0, 42.0, known)
    assert "cents" not in what_pin_says(46.0, 42.0)


def test_at_the_mark_nothing_is_to_be_done() -> None:
    assert "at its usual pitch" in what_pin_says(42.4, 42.0)
    assert "no mark yet" in what_pin_says(42.4, None)


def test_marks_are_kept_and_undone(ledger: Ledger) -> None:
    keep_drone(ledger, "outside tenor", who="A", kind="tenor", mark_mm=42.0)
    # All or nothing: a pitch that no drone has leaves no drone behind.
    with pytest.raises(CanebenchError, match="5 Hz"):
        keep_drone(ledger, "bass", who="A", kind="bass", mark_mm=60.0, pin_mm=55.0, hz=5.0)
    assert [drone.name for drone in list_drones(ledger)] == ["outside tenor"]
    before = dump_of(ledger)["pin_marks"]
    noted = note_pin(ledger, "outside tenor", pin_mm=46.0, who="A", hz=237.9)
    assert "4.0 mm out past the mark" in noted.said
    assert list_drones(ledger)[0].pin_mm == 46.0
    ledger.undo(last_act(ledger), who="A")
    assert list_drones(ledger)[0].pin_mm is None
    assert before == []


def test_what_cannot_be_is_refused(ledger: Ledger) -> None:
    with pytest.raises(InputError, match="a bass or a tenor"):
        keep_drone(ledger, "x", who="A")
    with pytest.raises(InputError, match="kind of drone"):
        keep_drone(ledger, "x", who="A", kind="alto")
    keep_drone(ledger, "x", who="A", kind="bass")
    with pytest.raises(InputError, match="from 0 to 200 mm"):
        note_pin(ledger, "x", pin_mm=-3.0, who="A")
    with pytest.raises(InputError, match="pitch in Hz is needed"):
        note_pin(ledger, "x", pin_mm=3.0, who="A", sd_hz=0.1)


def test_the_command(tmp_path: Path) -> None:
    at = ("--ledger", str(tmp_path / "ledger.db"))
    assert "No drone here yet" in run("drone", "--new", *at).stdout
    run("drone", "outside tenor", "--kind", "tenor", "--mark", "42", *at)
    said = " ".join(run("drone", "outside tenor", "--pin", "38.5", *at).stdout.split())
    assert "3.5 mm in past the mark" in said
    assert "38.5 mm" in run("drone", *at).stdout
    assert run("drone", "outside tenor", "--hz", "240", *at).exit_code == 2
    run("drone", "outside tenor", "--pin", "38", "--hz", "240.2", "--sd", "0.05", *at)
    said = " ".join(run("drone", "outside tenor", "--pin", "47", "--hz", "236.8", *at).stdout.split())
    assert "flat of its usual pitch, by" in said
