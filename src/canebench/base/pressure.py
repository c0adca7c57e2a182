"""Blowing pressure as it is read from a gauge: inches of water, millibars, kilopascals; inside always kPa.

One inch of water is 249.089 Pa (the conventional inch: water of 1000 kg/m³, 25.4 mm x 9.80665 m/s² x
1000 kg/m³ = 249.08891 Pa; NIST SP 811, appendix B.8), one millibar is 0.1 kPa exactly. Guarded by
`tests/published/test_pressure.py` and `tests/invariants/test_pressure.py`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from canebench.base.errors import DoubtError, InputError, UnknownNameError
from canebench.base.sizes import MINUS, POINT, Range, said
from canebench.base.uncertain import Uncertain, number

if TYPE_CHECKING:
    from collections.abc import Mapping

#: NIST SP 811, appendix B.8: inch of water, conventional, 249.0889 Pa; rounded as trade tables have it.
PA_PER_INH2O: Final = 249.089
_KPA_PER_INH2O: Final = PA_PER_INH2O / 1000.0
_KPA_PER_MBAR: Final = 0.1


class PressureUnit(StrEnum):
    """Units that a gauge may be read in; the values are what files hold.

    Guarded by `tests/invariants/test_pressure.py`.
    """

    INH2O = "inH2O"
    MBAR = "mbar"
    KPA = "kPa"


_KPA_PER: Final[Mapping[PressureUnit, float]] = MappingProxyType(
    {PressureUnit.INH2O: _KPA_PER_INH2O, PressureUnit.MBAR: _KPA_PER_MBAR, PressureUnit.KPA: 1.0}
)
_SPELLINGS: Final[Mapping[PressureUnit, str]] = MappingProxyType(
    {
        PressureUnit.INH2O: (
            'inh2o inh₂o inchh2o inchesh2o inchofwater inchesofwater inwater inwc inwg in inch inches " ″ ”'
        ),
        PressureUnit.MBAR: "mbar mb millibar millibars hpa",
        PressureUnit.KPA: "kpa kilopascal kilopascals",
    }
)
_UNIT_OF: Final = {word: unit for unit, words in _SPELLINGS.items() for word in words.split()}
#: Units of other trades: not taken, but told in ours. kPa; 1 cmH2O = 98.0665 Pa, 1 mmHg = 133.322 Pa.
_FOREIGN_KPA: Final[Mapping[str, float]] = MappingProxyType(
    {
        "pa": 0.001,
        "bar": 100.0,
        "psi": 6.894757,
        "mmh2o": 0.00980665,
        "cmh2o": 0.0980665,
        "mmhg": 0.133322,
        "inhg": 3.386389,
    }
)
#: Factors by which a pressure in kPa is wrong, and what one says of it.
KPA_SLIPS: Final = (
    MINUS,
    (_KPA_PER_INH2O, "if that was inches of water"),
    (_KPA_PER_MBAR, "if that was millibars"),
    (0.001, "if that was pascals"),
)
#: Nobody blows more than 100 inches (24.9 kPa): the strongest breath out is about that (our limit).
_RANGES: Final[Mapping[PressureUnit, Range]] = MappingProxyType(
    {
        PressureUnit.INH2O: Range(
            low=0.0,
            high=100.0,
            usual=30.0,
            unit="inH2O",
            slips=(
                MINUS,
                POINT,
                (1 / 25.4, "if that was millimetres of water"),
            ),
        ),
        PressureUnit.MBAR: Range(
            low=0.0,
            high=250.0,
            usual=75.0,
            unit="mbar",
            slips=(
                MINUS,
                POINT,
                (0.01, "if that was pascals"),
            ),
        ),
        PressureUnit.KPA: Range(
            low=0.0,
            high=25.0,
            usual=7.5,
            unit="kPa",
            slips=KPA_SLIPS,
        ),
    }
)
_GIVEN: Final = re.compile(r"([+\-−]?)(\d{1,12}(?:[.,]\d{1,12})?|[.,]\d{1,12})\s*([^\d.,].{0,30})?", re.ASCII)
_BARE: Final = re.compile(r"[+\-−]?[\d.,]+", re.ASCII)
_EXAMPLE: Final = "30 inH2O, 75 mbar or 7.5 kPa"
#: A pipe is blown between the usual pressure divided and multiplied by so much.
_USUAL_TIMES: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeReading:
    """A pressure as it was read, and in kPa; it checks itself.

    Guarded by `tests/invariants/test_pressure.py`.

    Attributes
    ----------
    value : float
        The number read, in `unit`: 0 to 100 inH2O, 0 to 250 mbar, 0 to 25 kPa.
    unit : PressureUnit
        What it was read in.

    Raises
    ------
    InputError
        For a value outside, with the likely slip (mbar or inches called kPa, a slipped point, pascals), and
        as `UnknownNameError` for another unit.
    """

    value: float
    unit: PressureUnit

    def __post_init__(self) -> None:
        if self.unit not in _RANGES:
            raise UnknownNameError(field="unit", given=str(self.unit)[:60], known=PressureUnit)
        _RANGES[self.unit].check("pressure", self.value)

    @property
    def kpa(self) -> float:
        """The same in kPa."""
        return to_kpa(self.value, self.unit)


def to_kpa(value: float, unit: PressureUnit) -> float:
    """A pressure in `unit` as kPa; no range is checked here.

    1 inH2O = 0.249089 kPa (NIST SP 811, appendix B.8), 1 mbar = 0.1 kPa. Guarded by
    `tests/published/test_pressure.py` and `tests/invariants/test_pressure.py`.
    """
    return value * _KPA_PER[unit]


def from_kpa(pressure_kpa: float, unit: PressureUnit) -> float:
    """A pressure in kPa as `unit`, the inverse of `to_kpa`; no range is checked here.

    Guarded by `tests/published/test_pressure.py` and `tests/invariants/test_pressure.py`.
    """
    return pressure_kpa / _KPA_PER[unit]


def kpa_to_inh2o(pressure_kpa: float) -> float:
    """The pressure in inches of water. Guarded by `tests/published/test_pressure.py`."""
    return from_kpa(pressure_kpa, PressureUnit.INH2O)


def parse_pressure(text: str, *, field: str = "pressure", unit: PressureUnit | None = None) -> GaugeReading:
    """A pressure as one writes it: "30 inH2O", "30in", "75 mbar", "7.5 kPa", "7,5 kPa".

    Capitals and spaces do not matter, a decimal comma is a decimal point. The unit has no default but the one
    that a band has settled: 30 of one is a hard reed, 30 of another no reed at all. Guarded by
    `tests/invariants/test_pressure.py`.

    Parameters
    ----------
    text : str
        A number and its unit.
    field : str
        What to call it in an error.
    unit : PressureUnit or None
        What a bare number is in, where that was settled.

    Raises
    ------
    InputError
        For no number, no unit and none settled, a unit of another trade (told in ours) or a size out of
        range (0 to 100 inH2O, 250 mbar, 25 kPa).
    """
    match = _GIVEN.fullmatch(text.strip()) if isinstance(text, str) else None
    if match is None:
        raise InputError(
            field=field, given=said(text), allowed="a number with its unit is needed", nearest=_EXAMPLE
        )
    sign, digits, word = match.groups(default="")
    value = float(digits.replace(",", "."))
    if sign in ("-", "−"):
        value = -value
    found = _UNIT_OF.get(_plain(word)) if word.strip() else unit
    if found is None:
        raise _unknown_unit(field, text, value, word)
    _RANGES[found].check(field, value)
    return GaugeReading(value=value, unit=found)


def pressure_said(pressure_kpa: float, unit: PressureUnit | None = None) -> str:
    """In a band's own unit first, then in kPa, or inches where that is the unit: "28.0 inH2O = 6.97 kPa".

    Guarded by `tests/invariants/test_pressure.py`.
    """
    first = unit or PressureUnit.INH2O
    second = PressureUnit.INH2O if first is PressureUnit.KPA else PressureUnit.KPA
    return f"{pressure_in(pressure_kpa, first)} = {pressure_in(pressure_kpa, second)}"


def reading_said(pressure_kpa: Uncertain, unit: PressureUnit) -> str:
    """With its uncertainty, in one unit: "28.0 ± 0.5 inH2O".

    Guarded by `tests/invariants/test_pressure.py`.
    """
    sd_kpa = pressure_kpa.sd
    sd = None if sd_kpa is None else from_kpa(sd_kpa, unit)
    return Uncertain(value=from_kpa(pressure_kpa.value, unit), sd=sd).text(str(unit))


def pressure_in(pressure_kpa: float, unit: PressureUnit) -> str:
    """In one unit, with as many digits as a gauge of it has: "6.97 kPa"."""
    digits = 2 if unit is PressureUnit.KPA else 1
    return f"{number(from_kpa(pressure_kpa, unit), digits)} {unit}"


def parse_gauge(text: str, unit: PressureUnit, *, field: str = "pressure") -> GaugeReading:
    """A pressure read off a gauge whose unit is known: the bare number, or one with a unit of its own.

    Guarded by `tests/invariants/test_pressure.py`.

    Parameters
    ----------
    text : str
        As typed: "28", "28,5", and "70 mbar" whatever the gauge is in.
    unit : PressureUnit
        What a bare number is in.
    field : str
        What to call it in an error.

    Raises
    ------
    InputError
        As `parse_pressure`; and as `DoubtError` for a bare number that no pipe is blown at in that unit,
        under a third or over three times the usual pressure: with its unit it is taken.
    """
    given = text.strip()
    if not re.search(r"\d", given):
        allowed = f"a number in {unit} is needed, or one with its unit"
        raise InputError(field=field, given=said(text), allowed=allowed, nearest=f"{_RANGES[unit].usual:g}")
    if _BARE.fullmatch(given) is None:
        return parse_pressure(given, field=field)
    reading = parse_pressure(f"{given} {unit}", field=field)
    if not _likely(reading.value, unit):
        usual = _RANGES[unit].usual
        likely = [f"{reading.value:g} {one}" for one in PressureUnit if _likely(reading.value, one)]
        raise DoubtError(
            field=field,
            given=said(reading.value, unit),
            allowed=f"pipes are blown at {usual / _USUAL_TIMES:g} to {_USUAL_TIMES * usual:g} {unit}; "
            f"type the unit with it where it is so",
            nearest=likely[0] if likely else f"{reading.value:g} {unit}",
        )
    return reading


def _plain(word: str) -> str:
    return re.sub(r"[\s.()_]", "", word).casefold()


def _unknown_unit(field: str, text: str, value: float, word: str) -> InputError:
    """What to say of a number without a unit of ours."""
    known = ", ".join(PressureUnit)
    if not word.strip():
        likely = [f"{value:g} {unit}" for unit in PressureUnit if _likely(value, unit)]
        allowed, nearest = f"a unit is needed too, one of {known}", likely[0] if likely else _EXAMPLE
    else:
        factor = _FOREIGN_KPA.get(_plain(word))
        meant_kpa = -1.0 if factor is None else value * factor
        in_range = 0.0 <= meant_kpa <= _RANGES[PressureUnit.KPA].high
        allowed, nearest = f"units allowed are {known}", f"{meant_kpa:.3g} kPa" if in_range else _EXAMPLE
    return InputError(field=field, given=said(text), allowed=allowed, nearest=nearest)


def _likely(value: float, unit: PressureUnit) -> bool:
    """Whether a pipe is blown so, between a third and three times the usual pressure."""
    usual = _RANGES[unit].usual
    return usual / _USUAL_TIMES <= value <= _USUAL_TIMES * usual
