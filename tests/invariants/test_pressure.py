"""Pressures turn into one another and back, and are read as one writes them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.pressure import (
    GaugeReading,
    PressureUnit,
    from_kpa,
    kpa_to_inh2o,
    parse_gauge,
    parse_pressure,
    to_kpa,
)

_UNITS = st.sampled_from(PressureUnit)
_SIZES = st.floats(-1e6, 1e6)
_EXACT = 1e-12
_MOST = {PressureUnit.INH2O: 100, PressureUnit.MBAR: 250, PressureUnit.KPA: 25}


@given(value=_SIZES, unit=_UNITS)
def test_there_and_back(value: float, unit: PressureUnit) -> None:
    assert from_kpa(to_kpa(value, unit), unit) == pytest.approx(value, rel=_EXACT, abs=1e-300)
    assert to_kpa(from_kpa(value, unit), unit) == pytest.approx(value, rel=_EXACT, abs=1e-300)


@given(value=_SIZES)
def test_inches_and_millibars_are_what_they_are_called(value: float) -> None:
    assert kpa_to_inh2o(value) == from_kpa(value, PressureUnit.INH2O)
    assert from_kpa(value, PressureUnit.MBAR) == pytest.approx(10 * value, rel=_EXACT)


@given(first=_SIZES, second=_SIZES, unit=_UNITS)
def test_order_is_kept(first: float, second: float, unit: PressureUnit) -> None:
    assert (to_kpa(first, unit) <= to_kpa(second, unit)) or first > second


@given(data=st.data(), unit=_UNITS, comma=st.booleans(), space=st.sampled_from(["", " ", "  "]))
def test_what_is_written_is_read(data: st.DataObject, unit: PressureUnit, comma: bool, space: str) -> None:
    """To the last decimal written, with a point or a comma, in capitals or not."""
    hundredths = data.draw(st.integers(0, 100 * _MOST[unit]))
    text = f"{hundredths / 100:.2f}{space}{data.draw(st.sampled_from([unit, unit.lower(), unit.upper()]))}"
    found = parse_pressure(text.replace(".", ",") if comma else text)
    assert found == GaugeReading(value=hundredths / 100, unit=unit)
    assert found.kpa == to_kpa(hundredths / 100, unit)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("30 inH2O", 30, "inH2O"),
        ("30in", 30, "inH2O"),
        ("30 in.", 30, "inH2O"),
        ('30"', 30, "inH2O"),
        ("30 inches of water", 30, "inH2O"),
        ("30 inH₂O", 30, "inH2O"),
        ("30 in. W.C.", 30, "inH2O"),
        ("75 mbar", 75, "mbar"),
        ("75 hPa", 75, "mbar"),
        ("7.5 kPa", 7.5, "kPa"),
        ("  7,5kpa ", 7.5, "kPa"),
        ("+.5 kPa", 0.5, "kPa"),
        ("0 kPa", 0, "kPa"),
    ],
)
def test_spellings(text: str, value: float, unit: str) -> None:
    assert parse_pressure(text) == GaugeReading(value=value, unit=PressureUnit(unit))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "'' was given; a number with its unit is needed. Nearest that works: 30 inH2O"),
        ("strong", "'strong' was given; a number with its unit is needed"),
        ("30", "a unit is needed too, one of inH2O, mbar, kPa. Nearest that works: 30 inH2O"),
        ("75", "a unit is needed too, one of inH2O, mbar, kPa. Nearest that works: 75 inH2O"),
        ("7.5", "Nearest that works: 7.5 kPa"),
        ("180", "Nearest that works: 180 mbar"),
        ("7500 Pa", "Nearest that works: 7.5 kPa"),
        ("0.08 bar", "Nearest that works: 8 kPa"),
        ("750 mm H2O", "Nearest that works: 7.35 kPa"),
        ("2 inHg", "Nearest that works: 6.77 kPa"),
        ("56 mmHg", "units allowed are inH2O, mbar, kPa. Nearest that works: 7.47 kPa"),
        ("76.2 cmH2O", "Nearest that works: 7.47 kPa"),
        ("3 bananas", "'3 bananas' was given; units allowed are inH2O, mbar, kPa"),
        ("30 kPa", "from 0 to 25 kPa is allowed. Nearest that works: 7.473 kPa, if that was inches of water"),
        ("7500 kPa", "Nearest that works: 7.5 kPa, if that was pascals"),
        ("7500 mbar", "Nearest that works: 75 mbar, if that was pascals"),
        ("-30 in", "-30 inH2O was given; from 0 to 100 inH2O is allowed. Nearest that works: 30 inH2O"),
        ("−30 in", "Nearest that works: 30 inH2O, without the minus sign"),
        ("762 inH2O", "Nearest that works: 30 inH2O, if that was millimetres of water"),
        ("1,234.5 kPa", "a number with its unit is needed"),
        ("nan kPa", "a number with its unit is needed"),
        ("² kPa", "a number with its unit is needed"),
    ],
)
def test_what_cannot_be_used_is_told_with_the_nearest_that_works(text: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_pressure(text, field="onset")
    assert said in str(caught.value)
    assert str(caught.value).startswith("onset: ")


@pytest.mark.parametrize(
    ("text", "unit", "kpa"),
    [
        ("28", PressureUnit.INH2O, 6.974492),
        (" 28,5 ", PressureUnit.INH2O, 7.0990365),
        ("70", PressureUnit.MBAR, 7.0),
        ("70 mbar", PressureUnit.INH2O, 7.0),
        ("7 inH2O", PressureUnit.INH2O, 1.743623),
        ("10", PressureUnit.INH2O, 2.49089),
        ("90", PressureUnit.INH2O, 22.41801),
        ("25", PressureUnit.MBAR, 2.5),
        ("225", PressureUnit.MBAR, 22.5),
    ],
)
def test_a_gauge_has_its_unit_and_a_reading_may_have_its_own(
    text: str, unit: PressureUnit, kpa: float
) -> None:
    assert parse_gauge(text, unit).kpa == pytest.approx(kpa, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "unit", "said"),
    [
        ("", PressureUnit.INH2O, "a number in inH2O is needed, or one with its unit. Nearest that works: 30"),
        ("abc", PressureUnit.MBAR, "Nearest that works: 75."),
        ("300", PressureUnit.INH2O, "from 0 to 100 inH2O is allowed. Nearest that works: 30 inH2O"),
        ("7", PressureUnit.INH2O, "pipes are blown at 10 to 90 inH2O; type the unit with it"),
        ("7", PressureUnit.INH2O, "Nearest that works: 7 kPa."),
        ("91", PressureUnit.INH2O, "Nearest that works: 91 mbar."),
        ("20", PressureUnit.MBAR, "pipes are blown at 25 to 225 mbar"),
        ("20", PressureUnit.MBAR, "Nearest that works: 20 inH2O."),
        ("226", PressureUnit.MBAR, "pipes are blown at 25 to 225 mbar"),
        ("2.4", PressureUnit.KPA, "pipes are blown at 2.5 to 22.5 kPa"),
        ("1", PressureUnit.KPA, "Nearest that works: 1 kPa."),
        ("28 psi", PressureUnit.INH2O, "units allowed are"),
    ],
)
def test_a_bare_number_that_no_pipe_is_blown_at_is_asked_about(
    text: str, unit: PressureUnit, said: str
) -> None:
    with pytest.raises(InputError) as caught:
        parse_gauge(text, unit, field="gauge")
    assert said in str(caught.value)
    assert str(caught.value).startswith("gauge: ")


@given(text=st.text(max_size=40), unit=st.sampled_from(PressureUnit))
def test_any_text_off_a_gauge_is_a_reading_or_an_error_of_ours(text: str, unit: PressureUnit) -> None:
    try:
        found = parse_gauge(text, unit)
    except InputError as error:
        said = str(error)
    else:
        said = ""
        assert 0 <= found.kpa <= 25
    assert len(said) < 400


@given(text=st.text(max_size=40))
def test_any_text_is_a_reading_or_an_error_of_ours(text: str) -> None:
    try:
        found = parse_pressure(text)
    except InputError as error:
        said = str(error)
    else:
        said = ""
        assert 0 <= found.kpa <= 25
    assert len(said) < 400


@pytest.mark.parametrize(("unit", "most"), _MOST.items())
def test_a_gauge_reads_from_nothing_to_the_most_that_anybody_blows(unit: PressureUnit, most: int) -> None:
    for value in (0.0, 0.5, most):
        assert GaugeReading(value=value, unit=unit).value == value
    for value in (-0.5, most + 0.5):
        with pytest.raises(InputError, match=f"from 0 to {most} {unit} is allowed"):
            GaugeReading(value=value, unit=unit)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -1.0, 1e9])
def test_a_reading_checks_itself(value: float) -> None:
    with pytest.raises(InputError, match=r"pressure: .* was given; .*from 0 to"):
        GaugeReading(value=value, unit=PressureUnit.MBAR)


def test_a_reading_in_another_unit_is_refused() -> None:
    unit = "psi"
    with pytest.raises(UnknownNameError, match="unit: 'psi' was given"):
        GaugeReading(value=1.0, unit=unit)  # type: ignore[arg-type]
