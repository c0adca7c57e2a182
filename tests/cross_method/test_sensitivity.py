"""Every derivative of the playing frequencies against central differences of re-assembled networks.

The derivatives integrate along the bore by Simpson's rule, over steps that suit the pitches: near the throat,
where radii change most within a step, those of the bore's diameters keep an error of up to 0.03 cents per mm.
Half as long a step leaves a sixteenth of it, and there they are held to the same narrow gate as the rest.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING
from unittest.mock import patch

import numpy as np
import pytest

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.bore.chanter_file import generic
from canebench.bore.gas.air import Conditions
from canebench.bore.geometry import BoreSection, Hole
from canebench.bore.instrument import Instrument, network_of, rows_of
from canebench.bore.resonance import resonances_hz
from canebench.bore.sensitivity import Sensitivity, sensitivity
from support.bores import cents

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import FloatArray

_MOST_RELATIVE = 1e-3
_MOST_CENTS = 2e-3
#: What Simpson's rule may leave of the derivatives by the bore's diameters, cents per mm.
_BY_DIAMETER = ("top_per_mm", "bottom_per_mm")
_MOST_SIMPSON = 0.03
_STEP_MM = 2e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Nine fingerings of an instrument, their open shares and gaps, and what they play."""

    instrument: Instrument
    shares: FloatArray
    gaps_m: FloatArray
    hz: FloatArray

    @classmethod
    def of(cls, instrument: Instrument, setting: Setting) -> Case:
        """The nine in that setting, found to the last digit."""
        shares, gaps_m = rows_of(instrument, [setting])
        network = network_of(instrument, 0)
        hz = resonances_hz(network, shares, gaps_m)
        hz = resonances_hz(network, shares, gaps_m, start_hz=hz)  # once more: the last digits count
        return cls(instrument=instrument, shares=shares, gaps_m=gaps_m, hz=hz)

    def exact(self) -> Sensitivity:
        """The derivatives under test."""
        return sensitivity(network_of(self.instrument, 0), self.shares, self.gaps_m, self.hz)

    def moved_cents(
        self,
        instrument: Instrument | None = None,
        shares: FloatArray | None = None,
        gaps_m: FloatArray | None = None,
    ) -> FloatArray:
        """How far the nine lie from where they were, everything assembled anew."""
        network = network_of(self.instrument if instrument is None else instrument, 0)
        rows = self.shares if shares is None else shares
        gaps = self.gaps_m if gaps_m is None else gaps_m
        return cents(resonances_hz(network, rows, gaps, start_hz=self.hz), self.hz)


def _slope(move: Callable[[float], FloatArray], step: float) -> FloatArray:
    return (move(step) - move(-step)) / (2 * step)


def _with(case: Case, **changes: object) -> Instrument:
    """The instrument with parts of its chanter changed."""
    return replace(case.instrument, chanter=replace(case.instrument.chanter, **changes))  # type: ignore[arg-type]


def _seat_depth(case: Case) -> FloatArray:
    return _slope(lambda mm: case.moved_cents(gaps_m=case.gaps_m - mm * 1e-3), 0.01)


def _seat_diameter(case: Case) -> FloatArray:
    seat = case.instrument.chanter.seat
    return _slope(
        lambda mm: case.moved_cents(_with(case, seat=replace(seat, diameter_mm=seat.diameter_mm + mm))), 0.01
    )


def _holes(case: Case) -> FloatArray:
    """The open shares are held: tape that covers the same share."""
    chanter = case.instrument.chanter

    def wider(index: int, mm: float) -> Instrument:
        openings = list(chanter.openings)
        openings[index] = replace(openings[index], diameter_mm=openings[index].diameter_mm + mm)
        return _with(case, holes=tuple(openings[: len(HOLES)]), vents=tuple(openings[len(HOLES) :]))

    return np.stack(
        [
            _slope(lambda mm, i=index: case.moved_cents(wider(i, mm)), _STEP_MM)  # type: ignore[misc]
            for index in range(len(chanter.openings))
        ],
        axis=1,
    )


def _open_shares(case: Case) -> FloatArray:
    """By differences to one side, of third order, since no share is above 1; 0 for holes under a finger."""
    found = np.zeros_like(case.shares)
    for index in range(case.shares.shape[1]):
        one = np.zeros_like(case.shares)
        one[:, index] = np.where(case.shares[:, index] > 0, -2e-3, 0.0)
        first, second, third = (case.moved_cents(shares=case.shares + by * one) for by in (1, 2, 3))
        found[:, index] = (18 * first - 9 * second + 2 * third) / (6 * -2e-3)
    return found


def _section_ends(case: Case, end: str) -> FloatArray:
    sections = case.instrument.chanter.sections

    def wider(index: int, mm: float) -> Instrument:
        changed = replace(sections[index], **{end: getattr(sections[index], end) + mm})
        return _with(case, sections=(*sections[:index], changed, *sections[index + 1 :]))

    return np.stack(
        [
            _slope(lambda mm, i=index: case.moved_cents(wider(i, mm)), _STEP_MM)  # type: ignore[misc]
            for index in range(len(sections))
        ],
        axis=1,
    )


def _reed(case: Case) -> FloatArray:
    reed = case.instrument.reed

    def larger(mm3: float) -> Instrument:
        return replace(case.instrument, reed=replace(reed, volume_mm3=reed.volume_mm3 + mm3))

    return _slope(lambda mm3: case.moved_cents(larger(mm3)), 0.5)


def _temperature(case: Case) -> FloatArray:
    """The air itself is asked anew at both temperatures."""
    air = case.instrument.conditions

    def warmer(degc: float) -> Instrument:
        return replace(case.instrument, conditions=replace(air, temp_degc=air.temp_degc + degc))

    return _slope(lambda degc: case.moved_cents(warmer(degc)), 0.05)


def _layers(case: Case) -> FloatArray:
    scale = case.instrument.layer_scale
    return _slope(lambda by: case.moved_cents(replace(case.instrument, layer_scale=scale + by)), 0.01)


BY_DIFFERENCES: dict[str, Callable[[Case], FloatArray]] = {
    "seat_per_mm": _seat_depth,
    "seat_diameter_per_mm": _seat_diameter,
    "hole_per_mm": _holes,
    "open_share": _open_shares,
    "top_per_mm": lambda case: _section_ends(case, "top_mm"),
    "bottom_per_mm": lambda case: _section_ends(case, "bottom_mm"),
    "reed_per_mm3": _reed,
    "per_degc": _temperature,
    "layer_scale": _layers,
}

_AIR = Conditions(temp_degc=27.0, humidity=0.9, co2=0.03)
_GENERIC = generic()


def _smooth() -> Case:
    """The generic chanter bare, its wall smooth."""
    chanter = replace(_GENERIC.chanter, step_masses=False)
    return Case.of(Instrument(chanter=chanter, reed=_GENERIC.reed, conditions=_AIR), Setting())


def _taped() -> Case:
    """Three strips, a wide and long gap, a rough wall, cylinders and sudden steps without their masses."""
    lengths = (70.0, 50.0, 65.0, 80.0, 60.0)
    widths = ((4.2, 7.6), (7.6, 10.1), (10.4, 12.6), (13.2, 17.4), (17.9, 17.9))
    chanter = replace(
        _GENERIC.chanter,
        sections=tuple(
            BoreSection(length_mm=length, top_mm=top, bottom_mm=bottom)
            for length, (top, bottom) in zip(lengths, widths, strict=True)
        ),
        seat=replace(_GENERIC.chanter.seat, diameter_mm=7.5, gap_mm=6.0),
        vents=(Hole(position_mm=296.0, diameter_mm=9.0, wall_mm=4.0),),
        step_masses=False,
    )
    instrument = Instrument(chanter=chanter, reed=_GENERIC.reed, conditions=_AIR, layer_scale=1.3)
    return Case.of(
        instrument, Setting(seat_mm=1.0, tape_mm={"high G": 1.1, "D": 1.5, "B": 2.4, "low A": 0.7})
    )


def _stepped() -> Case:
    """A sudden step with its mass, which every parameter but the diameters beside it moves or feels."""
    wider = tuple(
        replace(section, top_mm=section.top_mm * 1.06, bottom_mm=section.bottom_mm * 1.06)
        for section in _GENERIC.chanter.sections[2:]
    )
    chanter = replace(_GENERIC.chanter, sections=(*_GENERIC.chanter.sections[:2], *wider))
    instrument = Instrument(chanter=chanter, reed=_GENERIC.reed, conditions=_AIR, layer_scale=0.8)
    return Case.of(instrument, Setting(seat_mm=-0.5, tape_mm={"E": 2.0}))


_CASES = {"smooth": _smooth, "taped": _taped, "stepped": _stepped}


def _assert_agree(exact: FloatArray, differences: FloatArray, most: float = _MOST_CENTS) -> None:
    assert exact.shape == differences.shape
    assert np.all(np.isfinite(exact))
    off = np.abs(exact - differences)
    bad = (off > most) & (off > _MOST_RELATIVE * np.abs(differences))
    assert not bad.any(), (
        f"off by {off[bad]} where differences give {differences[bad]}, at {np.argwhere(bad)}"
    )


def _pairs() -> list[tuple[str, str]]:
    """All but diameters of a stepped bore: the masses of its steps are held, as `Sensitivity` says."""
    return [
        (name, f) for name in _CASES for f in BY_DIFFERENCES if name != "stepped" or f not in _BY_DIAMETER
    ]


@pytest.mark.parametrize(("name", "field"), _pairs())
def test_it_is_the_difference_of_two_networks(name: str, field: str) -> None:
    case = _CASES[name]()
    most = _MOST_SIMPSON if field in _BY_DIAMETER else _MOST_CENTS
    _assert_agree(getattr(case.exact(), field), BY_DIFFERENCES[field](case), most)


@pytest.mark.parametrize("field", _BY_DIAMETER)
@pytest.mark.parametrize("name", ["smooth", "taped"])
def test_what_is_left_of_it_by_the_bore_s_diameters_is_simpson_s(name: str, field: str) -> None:
    with patch("canebench.bore.assembly._CONE_M", 5e-3):
        case = _CASES[name]()
        _assert_agree(getattr(case.exact(), field), BY_DIFFERENCES[field](case))


def test_every_field_is_tested() -> None:
    assert {field.name for field in fields(Sensitivity)} == set(BY_DIFFERENCES)
    assert _taped().hz.shape == (len(NOTES),)


@pytest.mark.parametrize("field", list(BY_DIFFERENCES))
def test_control_a_flipped_sign_and_a_hundredth_are_caught(field: str) -> None:
    """In the whole field, and in its largest entry alone."""
    case = _taped()
    most = _MOST_SIMPSON if field in _BY_DIAMETER else _MOST_CENTS
    exact, differences = getattr(case.exact(), field), BY_DIFFERENCES[field](case)
    largest = np.unravel_index(np.argmax(np.abs(exact)), exact.shape)
    for factor in (-1.0, 1.01):
        one = exact.copy()
        one[largest] *= factor
        for wrong in (exact * factor, one):
            with pytest.raises(AssertionError, match="off by"):
                _assert_agree(wrong, differences, most)
