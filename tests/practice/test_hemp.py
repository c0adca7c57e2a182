"""Hemp and seat depth. Common practice, no source: 3 to 4 inches of hemp is the usual first try."""

from __future__ import annotations

import math
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
    assert Hemp().turns(1.0) > Hemp().turns(0.5)


def test_thread_fills_the_shell_that_the_taper_leaves() -> None:
    """Volume against volume: the thread, loosely packed, is as much as what there is to fill."""
    hemp, rise_mm = Hemp(), 0.75
    thread_mm3 = hemp.length_mm(rise_mm) * math.pi * (hemp.thread_mm / 2) ** 2
    thicker = hemp.across_mm + hemp.taper * rise_mm
    shell_mm3 = math.pi / 4 * (thicker**2 - hemp.across_mm**2) * hemp.band_mm
    assert thread_mm3 == pytest.approx(hemp.packing * shell_mm3, rel=0.01)


def test_thicker_thread_needs_less_of_it() -> None:
    assert Hemp(thread_mm=0.4).length_mm(1.0) < Hemp(thread_mm=0.2).length_mm(1.0)


def test_what_it_took_before_replaces_the_geometry() -> None:
    known = Hemp(inches_per_mm=5.0)
    assert known.length_mm(0.5) == pytest.approx(2.5 * INCH_MM)
    assert "2.5 inches" in known.text(0.5)
    assert Hemp(inches_per_mm=5.0, thread_mm=0.6).length_mm(0.5) == known.length_mm(0.5)


def test_the_words_have_turns_millimetres_and_inches() -> None:
    said = Hemp().text(1.0)
    for word in ("turns", "mm", "inches", "thread"):
        assert word in said
    assert "one turn" in Hemp().text(0.3)
    assert "half a turn" in Hemp().text(0.1)


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
