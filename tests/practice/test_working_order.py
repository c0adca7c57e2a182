"""The order of work. Common practice, no source."""

from __future__ import annotations

import itertools

from canebench.base.setting import Setting
from canebench.fitting.acts import Act
from canebench.fitting.working_order import working_order


def _acts(present: Setting, planned: Setting, *, new_reed: bool = False) -> list[tuple[Act, str | None]]:
    return [(move.act, move.hole) for move in working_order(present, planned, new_reed=new_reed)]


def test_nothing_to_do_is_no_act() -> None:
    assert _acts(Setting(seat_mm=0.5), Setting(seat_mm=0.5)) == []


def test_the_octave_by_the_seat_then_e_and_c_then_tape_from_the_bottom_up() -> None:
    planned = Setting(seat_mm=0.75, tape_mm={"high A": 1.0, "E": 1.0, "low A": 1.0})
    assert _acts(Setting(), planned) == [
        (Act.SEAT_DEEPER, None),
        (Act.CHECK_E_AND_C, None),
        (Act.TAPE, "low A"),
        (Act.TAPE, "E"),
        (Act.TAPE, "high A"),
        (Act.PLAY_ALL_NINE, None),
    ]


def test_a_reed_that_shall_sit_higher_is_raised_with_hemp() -> None:
    assert _acts(Setting(), Setting(seat_mm=-0.5))[0] == (Act.RAISE_WITH_HEMP, None)


def test_a_pinch_comes_before_the_seat() -> None:
    acts = [act for act, _ in _acts(Setting(), Setting(seat_mm=0.5, pinches=1))]
    assert acts[:2] == [Act.PINCH, Act.SEAT_DEEPER]


def test_tape_comes_off_before_a_new_reed_is_judged() -> None:
    taped = Setting(tape_mm={"E": 1.0})
    assert _acts(taped, taped, new_reed=True)[0] == (Act.TAPE_OFF, None)
    assert _acts(taped, taped, new_reed=False) == []


def test_tape_that_is_no_longer_needed_comes_off() -> None:
    assert (Act.TAPE_OFF, "E") in _acts(Setting(tape_mm={"E": 1.0}), Setting())


def test_the_moves_lead_where_they_should() -> None:
    planned = Setting(seat_mm=-1.0, tape_mm={"C": 1.5}, pinches=1)
    moves = working_order(Setting(tape_mm={"B": 2.0}), planned, new_reed=True)
    assert moves[-1].after == planned
    assert all(earlier.after == later.before for earlier, later in itertools.pairwise(moves))
