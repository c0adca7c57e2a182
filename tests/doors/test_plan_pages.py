"""The page of a plan, for what a take may come to: nothing to do, a note not played, takes that disagree."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from canebench.base.errors import InputError
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.fitting import Fitting, FittingTake
from canebench.bench.acts.fitting.plan_setting import plan_setting
from canebench.cli.text.plan_text import plan_text
from canebench.fitting.acts import Act
from canebench.fitting.limits import Limits
from canebench.fitting.take import Take
from doors.bench_takes import chanter

_KEPT = Path("reed7.json")


def _take(
    setting: Setting, *, told: Setting | None = None, without: str = "", louder_cents: float = 0.0
) -> FittingTake:
    """What the chanter on the bench plays in a setting, told as another one if need be."""
    hz = chanter().hz([setting])[0] * 2 ** (louder_cents / 1200 * np.linspace(0, 1, len(NOTES)))
    hz = np.where([note == without for note in NOTES], np.nan, hz)
    return FittingTake(
        origin="take.wav", take=Take(setting=told or setting, hz=hz, sd_cents=np.full(len(NOTES), 0.5))
    )


def _fitting(*takes: FittingTake, limits: Limits | None = None) -> Fitting:
    found = Fitting(limits=limits or Limits())
    for one in takes:
        found = found.with_take(one)
    return found


def _page(fitting: Fitting, *, path: Path | None = _KEPT) -> str:
    return " ".join(plan_text(plan_setting(fitting), fitting_path=path).split())


def _row(page: str, note: str) -> list[str]:
    """The cells of a note's row."""
    line = next(line for line in page.splitlines() if line.startswith(f"{note} "))
    return [cell for cell in line.removeprefix(note).split("  ") if cell]


_NO_ROOM = Limits(deeper_mm=0.0, higher_mm=0.0, most_strips=0)


def test_with_nothing_to_do_there_is_no_plan_in_the_table() -> None:
    fitting = _fitting(_take(Setting()), limits=_NO_ROOM)
    plan = plan_setting(fitting)
    assert plan.steps == ()
    page = _page(fitting)
    assert "planned cents" not in page
    assert f"Now {plan.next_act.say}" in page
    assert "Act 1" not in page
    assert "Then, as far" not in page
    assert "With the next take: canebench measure TAKE --fitting reed7.json" in page
    # The control: with room to move there is an act, and a column of what comes of it.
    moved = _page(_fitting(_take(Setting())))
    assert "planned cents" in moved
    assert "Act 1 " in moved
    assert "Now " not in moved
    assert "With the next take" not in moved


def test_no_file_is_named_where_none_is_kept() -> None:
    for limits in (Limits(), _NO_ROOM):
        assert "canebench measure" not in _page(_fitting(_take(Setting()), limits=limits), path=None)


def test_a_note_that_was_not_played_has_no_number_of_now() -> None:
    first = plan_text(plan_setting(_fitting(_take(Setting(), without="F"))), fitting_path=None)
    assert _row(first, "F")[0].strip() == "not played"
    assert "by all takes" not in first
    # An earlier take had it: that much is known of it.
    second = _fitting(_take(Setting()), _take(Setting(), without="F"))
    page = plan_text(plan_setting(second), fitting_path=None)
    assert "by all takes" in page
    told = _row(page, "F")
    assert told[0].strip() == "not played"
    assert told[1].strip().startswith(f"{plan_setting(second).believed['F'].cents:+.1f}".replace("-", "−"))


def test_takes_that_disagree_are_shown_beside_each_other() -> None:
    """Two breaths of one setting, the top hand blown up in the second; the control: two that agree."""
    apart = _fitting(_take(Setting()), _take(Setting()), _take(Setting(), louder_cents=6.0))
    page = plan_text(plan_setting(apart), fitting_path=None)
    assert "by all takes" in page
    plan = plan_setting(apart)
    shown = _row(page, HIGH_A)
    for cell, one in zip(shown, (plan.now[HIGH_A], plan.believed[HIGH_A]), strict=False):
        assert cell.strip().startswith(f"{one.cents:+.1f}".replace("-", "−"))
    # Low A is what is counted from: there they agree, and nothing stands beside it.
    assert len(_row(page, LOW_A)) == len(shown) - 1
    agree = _fitting(_take(Setting()), _take(Setting()))
    assert "by all takes" not in plan_text(plan_setting(agree), fitting_path=None)


@pytest.mark.parametrize("columns", [40, 60, 100])
def test_it_fits_the_terminal_whatever_is_in_it(columns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    for fitting in (
        _fitting(_take(Setting())),
        _fitting(_take(Setting()), limits=_NO_ROOM),
        _fitting(_take(Setting()), _take(Setting(), louder_cents=8.0, without="F")),
    ):
        lines = plan_text(plan_setting(fitting), fitting_path=None).splitlines()
        assert max(len(line) for line in lines) <= columns
        assert any("now cents" in line for line in lines)


def test_a_take_that_does_not_fit_asks_what_was_done_and_how_to_tell_it() -> None:
    """Told two millimetres higher, set two deeper."""
    wrong = _fitting(_take(Setting()), _take(Setting(seat_mm=2.0), told=Setting(seat_mm=-2.0)))
    assert plan_setting(wrong).next_act.act is Act.CHECK_THE_SETTING
    page = _page(wrong)
    assert "Check what was done since the last take" in page
    assert "--seat, --tape and --pinches tell how it is really set" in page
    # The control: the same take told rightly.
    right = _page(_fitting(_take(Setting()), _take(Setting(seat_mm=2.0))))
    assert "Doubt" not in right
    assert "Check what was done" not in right


def test_a_seat_that_did_not_answer_is_looked_at_before_anything_is_doubted() -> None:
    still = _fitting(_take(Setting()), _take(Setting(), told=Setting(seat_mm=1.5)))
    assert plan_setting(still).next_act.act is Act.CHECK_THE_SEAT
    page = _page(still)
    assert "Check that the reed really moved" in page
    assert "With the next take" in page


def test_a_take_without_the_octave_is_no_plan() -> None:
    with pytest.raises(InputError, match="low A"):
        plan_setting(_fitting(_take(Setting(), without=LOW_A)))
