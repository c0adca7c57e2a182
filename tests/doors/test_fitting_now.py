"""Where a fitting stands, read back from the ledger: the same as when its takes were measured."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal
from xml.etree.ElementTree import fromstring

import pytest

from canebench.base.errors import InputError, NotFoundError
from canebench.base.notes import NOTES
from canebench.bench.acts.fitting.begin_fitting import begin_fitting, recent_fittings
from canebench.bench.acts.fitting.fit_reed import Place, fit_reed
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.type_take import Typed
from canebench.bench.views.drawing.draw_fitting import draw_after, draw_expected, draw_now, draw_take
from canebench.bench.views.fitting_now import Fittings
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import ChanterRecord, PlayerRecord, ReedRecord
from support.ledgers import Clock, last_act

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.bench.acts.fitting.one_round import Fitted

Aimed = float | Literal["drones"] | None
PLACE = Place(reed="7", chanter="number 3", player="Isla Penhallow")
FIRST = (417.0, 475.2, 533.5, 590.0, 633.0, 711.0, 788.0, 828.0, 935.0)
SECOND = (418.5, 476.4, 535.0, 592.0, 636.0, 714.0, 792.0, 832.5, 943.0)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return open_ledger(str(tmp_path / "ledger.db"), clock=Clock())


def played(ledger: Ledger, hz: tuple[float, ...], *, done: int = 1, reference: Aimed = None) -> Fitted:
    readings = {note: Typed(value=value, unit="Hz") for note, value in zip(NOTES, hz, strict=True)}
    request = FitRequest(heard=readings, done=done, reference=reference)
    return fit_reed(ledger, request, place=PLACE, who="tester")


def test_the_newest_take_reads_as_it_was_measured(ledger: Ledger) -> None:
    reed, chanter = begin_fitting(ledger, PLACE, who="tester")
    references: tuple[Aimed, ...] = (None, 476.0)
    for reference in references:
        fitted = played(ledger, FIRST, reference=reference)
        assert fitted.report is not None
        report = Fittings(ledger).now(reed, chanter).report
        assert report is not None
        for kept, measured in zip(report.measurement.notes, fitted.report.measurement.notes, strict=True):
            assert (kept.note, kept.hz) == (measured.note, measured.hz)
            assert kept.cents == pytest.approx(measured.cents, abs=1e-9)
            assert report.repeat_sd_cents[kept.note] == pytest.approx(
                fitted.report.repeat_sd_cents[kept.note], abs=0.5
            )
        assert report.balance is not None
        assert fitted.report.balance is not None
        assert report.balance.tilt_cents.value == pytest.approx(fitted.report.balance.tilt_cents.value)
        assert report.balance.height_cents.value == pytest.approx(fitted.report.balance.height_cents.value)


def test_after_and_plan_are_those_of_the_measuring(ledger: Ledger) -> None:
    reed, chanter = begin_fitting(ledger, PLACE, who="tester")
    played(ledger, FIRST, done=0)
    fitted = played(ledger, SECOND)
    now = Fittings(ledger).now(reed, chanter)
    assert now.plan is not None
    assert fitted.plan is not None
    assert now.after is not None
    assert fitted.after is not None
    assert [step.act.say for step in now.plan.steps] == [step.act.say for step in fitted.plan.steps]
    assert now.plan.setting == fitted.plan.setting
    assert now.plan.next_act == fitted.plan.next_act
    for note in NOTES:
        assert now.plan.believed[note].cents == pytest.approx(fitted.plan.believed[note].cents, abs=1e-6)
    for note in NOTES:
        assert now.after.predicted[note].cents == pytest.approx(fitted.after.predicted[note].cents, abs=1e-6)
    assert len(now.takes) == 2
    assert now.before is not None


def test_plans_are_kept_at_hand_until_something_changes(ledger: Ledger) -> None:
    reed, chanter = begin_fitting(ledger, PLACE, who="tester")
    fittings = Fittings(ledger)
    assert fittings.now(reed, chanter).plan is None
    played(ledger, FIRST, done=0)
    once = fittings.now(reed, chanter).plan
    assert fittings.now(reed, chanter).plan is once
    assert fittings.now(reed, chanter, FitRequest(reference=480.0)).plan is not once
    played(ledger, SECOND)
    assert fittings.now(reed, chanter).plan is not once
    ledger.undo(last_act(ledger), who="tester")
    assert fittings.now(reed, chanter).takes[-1].id == 1


def test_a_fitting_goes_on_as_it_was_judged(ledger: Ledger) -> None:
    reed, chanter = begin_fitting(ledger, PLACE, who="tester")
    played(ledger, FIRST, done=0, reference=478.0)
    now = Fittings(ledger).now(reed, chanter)
    assert now.fitting.reference_hz == 478.0
    assert now.player is not None
    assert now.player.name == "Isla Penhallow"


def test_beginning_adds_only_what_is_new(ledger: Ledger) -> None:
    first = begin_fitting(ledger, PLACE, who="tester")
    assert begin_fitting(ledger, PLACE, who="tester") == first
    with ledger.reading() as reader:
        assert [reader.count(one) for one in (ReedRecord, ChanterRecord, PlayerRecord)] == [1, 1, 1]
        assert len(reader.history()) == 1
    with pytest.raises(InputError, match="reed"):
        begin_fitting(ledger, Place(reed=" ", chanter="x"), who="tester")
    with pytest.raises(NotFoundError):
        Fittings(ledger).now(99, 1)


def test_the_newest_fitting_comes_first(ledger: Ledger) -> None:
    assert recent_fittings(ledger) == []
    begin_fitting(ledger, PLACE, who="tester")
    played(ledger, FIRST, done=0)
    begin_fitting(ledger, Place(reed="8", chanter="number 3"), who="tester")
    assert [one.reed.number for one in recent_fittings(ledger)] == ["7"]


def test_pictures_are_drawn_for_wide_and_narrow_places(ledger: Ledger) -> None:
    reed, chanter = begin_fitting(ledger, PLACE, who="tester")
    fittings = Fittings(ledger)
    assert draw_now(fittings.now(reed, chanter)) is None
    played(ledger, FIRST, done=0)
    played(ledger, SECOND)
    now = fittings.now(reed, chanter)
    assert now.report is not None
    drawn = [draw_now(now), draw_after(now), draw_expected(now), draw_take(now.report, title="A take")]
    ids: set[str] = set()
    for one in drawn:
        assert one is not None
        wide, narrow = (fromstring(svg) for svg in (one.wide, one.narrow))  # noqa: S314 - our own
        assert float(wide.attrib["viewBox"].split()[2]) > float(narrow.attrib["viewBox"].split()[2])
        assert not re.search(r"\bnan\b|\binf\b", one.wide)
        ids |= {element.attrib["id"] for element in [*wide.iter(), *narrow.iter()] if "id" in element.attrib}
    assert len(ids) == 2 * 2 * len(drawn)
