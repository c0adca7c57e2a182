"""Hemp and seat depth. Common practice, no source: 3 to 4 inches of hemp is the usual first try."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest

from canebench.base.errors import InputError
from canebench.fitting.hemp import FIRST_TRY_INCHES, INCH_MM, Hemp

#: What the first try may lift the reed by if the geometry is anything like a real seat's, mm.
_ABOUT_A_MILLIMETRE = (0.7, 2.0)


def _rises_mm(hemp: Hemp) -> list[float]:
    """What the usual first tries lift the reed by."""
    return [inches * INCH_MM / hemp.length_mm(1.0) for inches in FIRST_TRY_INCHES]


def _about_a_millimetre(hemp: Hemp) -> bool:
    low, high = _ABOUT_A_MILLIMETRE
    return all(low <= rise <= high for rise in _rises_mm(hemp))


def test_the_usual_first_try_lifts_the_reed_by_about_a_millimetre() -> None:
    assert FIRST_TRY_INCHES == (3.0, 4.0)
    assert _about_a_millimetre(Hemp())


@pytest.mark.parametrize("wrong", [Hemp(taper=0.2), Hemp(thread_mm=0.6), Hemp(inches_per_mm=25.4)])
def test_a_wrong_geometry_would_be_noticed(wrong: Hemp) -> None:
    """The control: a steep seat, string for thread, and a slip of units are nowhere near it."""
    assert not _about_a_millimetre(wrong)


def test_twice_the_rise_takes_twice_the_thread() -> None:
    assert Hemp().length_mm(1.0) == pytest.approx(2 * Hemp().length_mm(0.5))
    assert Hemp().turns(1.0) > Hemp().turns(0.5) >= 0.5


def test_thread_fills_the_shell_that_the_taper_leaves() -> None:
    """Volume against volume: the thread, loosely packed, is as much as what there is to fill."""
    hemp, rise_mm = Hemp(), 0.75
    thread_mm3 = hemp.length_mm(rise_mm) * math.pi * (hemp.thread_mm / 2) ** 2
    thicker = hemp.across_mm + hemp.taper * rise_mm
    shell_mm3 = math.pi / 4 * (thicker**2 - hemp.across_mm**2) * hemp.band_mm
    assert thread_mm3 == pytest.approx(hemp.packing * shell_mm3, rel=0.01)


def test_thicker_thread_needs_less_of_it() -> None:
    assert Hemp(thread_mm=0.4).length_mm(1.0) < Hemp(thread_mm=0.2).length_mm(1.0)


def test_a_millimetre_of_a_usual_seat_by_hand() -> None:
    """Thread of 0.25 mm on a band of 7.5 by 8 mm, one in twenty: 0.8 x 7.5 x 8 x 0.05 x 2 / 0.25 squared."""
    assert Hemp().length_mm(1.0) == pytest.approx(76.8)
    assert Hemp().turn_mm == pytest.approx(23.562, abs=0.001)


def test_an_inch_is_an_inch() -> None:
    assert Hemp(inches_per_mm=5.0).length_mm(1.0) == pytest.approx(127.0)


def test_what_it_took_before_replaces_the_geometry() -> None:
    known = Hemp(inches_per_mm=5.0)
    assert known.length_mm(0.5) == pytest.approx(2.5 * INCH_MM)
    assert "2½ turns" in known.text(0.5)
    assert Hemp(inches_per_mm=5.0, thread_mm=0.6).length_mm(0.5) == known.length_mm(0.5)


def test_it_is_told_in_half_and_whole_turns() -> None:
    assert "about half a turn," in Hemp().text(0.01)
    assert "about half a turn," in Hemp().text(0.2)
    assert "about one turn," in Hemp().text(0.25)
    assert "about 1½ turns," in Hemp().text(0.5)
    assert "about 6½ turns," in Hemp().text(2.0)
    for rise_mm in (0.05, 0.25, 0.5, 0.75, 1.0, 1.75, 6.0):
        assert (2 * Hemp().turns(rise_mm)).is_integer()
        # Never further off than half of the smallest amount that is told, or that itself.
        off_mm = abs(Hemp().turns(rise_mm) * Hemp().turn_mm - Hemp().length_mm(rise_mm))
        assert off_mm <= Hemp().turn_mm / 4 + 1e-9 or Hemp().turns(rise_mm) == 0.5


def _figures(said: str) -> tuple[float, float, float]:
    """Turns, millimetres and inches as they were told."""
    turns = re.search(r"about (half a turn|one turn|(\d+)(½?) turns)", said)
    length = re.search(r"(\d+) mm \(([\d.]+) inches\)", said)
    assert turns, said
    assert length, said
    words = {"half a turn": 0.5, "one turn": 1.0}
    whole = words.get(turns[1]) or int(turns[2]) + (0.5 if turns[3] else 0.0)
    return whole, float(length[1]), float(length[2])


def _agree(said: str, hemp: Hemp) -> bool:
    turns, length_mm, inches = _figures(said)
    return abs(turns * hemp.turn_mm - length_mm) <= 0.5 and abs(length_mm / INCH_MM - inches) <= 0.05 + 1e-9


@pytest.mark.parametrize("hemp", [Hemp(), Hemp(inches_per_mm=5.0), Hemp(thread_mm=0.4, across_mm=6.8)])
def test_turns_millimetres_and_inches_are_one_amount(hemp: Hemp) -> None:
    for hundredths in range(1, 601):
        assert _agree(hemp.text(hundredths / 100), hemp)


def test_figures_that_do_not_agree_would_be_noticed() -> None:
    """The control: a turn of 19 mm is none of a reed that is 7.5 mm across."""
    assert not _agree("about one turn, which is 19 mm (0.7 inches) of thread", Hemp())
    assert not _agree("about one turn, which is 24 mm (0.8 inches) of thread", Hemp())


@pytest.mark.parametrize(
    "sizes",
    [
        {"thread_mm": 3.0},
        {"thread_mm": -0.25},
        {"thread_mm": math.nan},
        {"band_mm": 0.0},
        {"across_mm": 0.3},
        {"taper": 0.0},
        {"packing": 80.0},
        {"inches_per_mm": 0.0},
        {"inches_per_mm": math.inf},
        {"inches_per_mm": math.nan},
    ],
)
def test_impossible_sizes_are_refused_by_name(sizes: dict[str, Any]) -> None:
    with pytest.raises(InputError, match=rf"^{next(iter(sizes))}: .* was given; from .* is allowed"):
        Hemp(**sizes)
