"""Hemp and seat depth. Common practice, no source: 3 to 4 inches of hemp is the usual first try."""

from __future__ import annotations

import pytest

from canebench.base.errors import InputError
from canebench.fitting.hemp import FIRST_TRY_INCHES, INCH_MM, Hemp


def test_the_usual_first_try_lifts_the_reed_by_about_a_millimetre() -> None:
    per_mm = Hemp().length_mm(1.0) / INCH_MM
    for inches in FIRST_TRY_INCHES:
        assert 0.5 < inches / per_mm < 2.0


def test_twice_the_rise_takes_twice_the_thread() -> None:
    assert Hemp().length_mm(1.0) == pytest.approx(2 * Hemp().length_mm(0.5))
    assert Hemp().turns(1.0) > Hemp().turns(0.5)


def test_thicker_thread_needs_less_of_it() -> None:
    assert Hemp(thread_mm=0.4).length_mm(1.0) < Hemp(thread_mm=0.2).length_mm(1.0)


def test_what_it_took_before_replaces_the_geometry() -> None:
    assert Hemp(inches_per_mm=5.0).length_mm(0.5) == pytest.approx(2.5 * INCH_MM)
    assert "2.5 inches" in Hemp(inches_per_mm=5.0).text(0.5)


@pytest.mark.parametrize("sizes", [{"thread_mm": 3.0}, {"taper": 0.0}, {"inches_per_mm": 0.0}])
def test_impossible_sizes_are_refused(sizes: dict[str, float]) -> None:
    with pytest.raises(InputError, match=next(iter(sizes))):
        Hemp(**sizes)
