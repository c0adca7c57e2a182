"""What the page of a fitting makes of a plan: its one act, those after it, and who speaks of the drones."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE
from canebench.bench.acts.fitting.begin_fitting import begin_fitting
from canebench.bench.acts.fitting.fit_reed import Place, fit_reed
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.plan_setting import plan_setting
from canebench.bench.acts.fitting.report import report_on
from canebench.bench.acts.fitting.type_take import Typed
from canebench.bench.views.fitting_now import FittingNow, Fittings
from canebench.fitting.acts import Act
from canebench.store.ledger import open_ledger
from canebench.web.pages.fitting_view import view_of
from doors.made_takes import made_measurement
from support.ledgers import Clock

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.bench.acts.fitting.report import TakeReport

_PLACE = Place(reed="7", chanter="number 3")
#: Off the scale on low A, cents: the top hand flat, and nothing at all.
_FLAT = dict(zip(NOTES, (0.0, 0.0, 1.0, 2.0, -1.0, -6.0, -9.0, -13.0, -16.0), strict=True))
_IN_TUNE = dict.fromkeys(NOTES, 0.0)


def _now(folder: Path, *takes: dict[str, float]) -> FittingNow:
    folder.mkdir(exist_ok=True)
    ledger = open_ledger(str(folder / "ledger.db"), clock=Clock())
    reed, chanter = begin_fitting(ledger, _PLACE, who="tester")
    for cents in takes:
        readings = {
            note: Typed(value=476.0 * DEFAULT_SCALE.ratios[note] * 2 ** (off / 1200), unit="Hz")
            for note, off in cents.items()
        }
        fit_reed(ledger, FitRequest(heard=readings, done=0), place=_PLACE, who="tester")
    return Fittings(ledger).now(reed, chanter)


def _drones_elsewhere() -> TakeReport:
    report = report_on(made_measurement(dict.fromkeys(NOTES, 15.0)))
    assert report.next_act.act is Act.MOVE_THE_DRONES
    return report


def test_the_page_shows_the_plans_act_and_those_after_it(tmp_path: Path) -> None:
    now = _now(tmp_path, _FLAT)
    assert now.plan is not None
    view = view_of(now, unfinished=[])
    assert view.act == now.plan.next_act
    assert view.act is not None
    assert view.act.act is Act.SEAT_DEEPER
    assert f"{view.headline} {view.further}".strip() == view.act.say
    assert view.acts == [step.act for step in now.plan.steps]
    assert not view.finished
    # After the act in the table: what the first step predicts, not the last.
    after = now.plan.steps[0].beam["high A"]
    assert next(row.next for row in view.rows if row.note == "high A").startswith(f"−{abs(after.cents):.0f}")


def test_a_reed_in_tune_is_finished(tmp_path: Path) -> None:
    now = _now(tmp_path, _IN_TUNE)
    assert now.plan is not None
    assert now.plan.steps == ()
    view = view_of(now, unfinished=[])
    assert view.act == now.plan.verdict
    assert view.act is not None
    assert view.act.act is Act.LEAVE
    assert view.finished
    assert view.acts == []
    assert "planned" not in view.tape


def test_what_all_takes_say_stands_beside_now_only_where_it_is_another_thing(tmp_path: Path) -> None:
    """Three takes of one setting, high A blown up in the last; before that, the control: they agree."""
    agree = _now(tmp_path / "agree", _IN_TUNE, _IN_TUNE)
    assert {row.all_takes for row in view_of(agree, unfinished=[]).rows} == {""}
    apart = _now(tmp_path / "apart", _IN_TUNE, _IN_TUNE, _IN_TUNE | {"high A": 6.0})
    assert apart.plan is not None
    told = {row.note: (row.now, row.all_takes) for row in view_of(apart, unfinished=[]).rows}
    assert told["high A"][0].startswith("+6.0")
    believed = apart.plan.believed["high A"].cents
    assert 0 < believed < 5
    assert told["high A"][1].startswith(f"+{believed:.1f}")
    assert told["low A"][1] == ""


@pytest.mark.parametrize(("cents", "act"), [(_IN_TUNE, Act.MOVE_THE_DRONES), (_FLAT, Act.SEAT_DEEPER)])
def test_the_drones_come_last(tmp_path: Path, cents: dict[str, float], act: Act) -> None:
    """Where the plan leaves the reed alone, it asks for the drones that the take heard elsewhere."""
    now, report = _now(tmp_path, cents), _drones_elsewhere()
    plan = plan_setting(now.fitting, report=report)
    view = view_of(replace(now, plan=plan, report=report), unfinished=[])
    assert view.act is not None
    assert view.act.act is act
    assert not view.finished


def test_without_a_plan_the_take_has_the_word(tmp_path: Path) -> None:
    now = _now(tmp_path, {"low A": 0.0, "E": 1.0})
    assert now.plan is None
    assert now.report is not None
    view = view_of(now, unfinished=[])
    assert view.act == now.report.next_act
    assert view.act is not None
    assert view.act.act is Act.PLAY_THE_OCTAVE
