"""Slopes by each unknown of a chanter against central differences of the instruments they stand for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.base.units import hz_to_cents
from canebench.bore.chanter_file import generic, generic_text, parse
from canebench.bore.gas.air import Conditions
from canebench.bore.instrument import PINCH_SHARE, pitches_hz, sensitivity_at
from canebench.bore.unknowns import Unknowns

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

_MOST_RELATIVE = 2e-3
_MOST_CENTS = 1e-4
#: Simpson's rule leaves this near the throat, where radii change most within a step (`test_sensitivity.py`).
_MOST_AT_THROAT_CENTS = 3e-3
_STEP = 5e-3
_AIR = Conditions(temp_degc=26.0, humidity=0.9, co2=0.03)
#: The generic chanter, and one with a sudden step, a single vent and a bore that is known better.
_STEPPED = parse(
    generic_text().replace("[150, 11.4]", "[150, 11.2], [150, 11.6]").replace("bore = 0.03", "bore = 0.01"),
    name="stepped.toml",
)
_UNKNOWNS = {
    "generic": Unknowns(start=generic(), conditions=_AIR),
    "stepped": Unknowns(start=_STEPPED, conditions=_AIR),
}
_SETTINGS = {
    "at the zero point": Setting(),
    "taped and pinched": Setting(
        seat_mm=0.8, tape_mm={"high A": 0.6, "F": 1.4, "D": 1.1, "low A": 2.2}, pinches=2
    ),
    "drawn out": Setting(seat_mm=-1.0, tape_mm={"C": 2.5}, pinches=1),
}


def _drawn(unknowns: Unknowns) -> FloatArray:
    """Values of an ordinary chanter, none of them 0."""
    drawn = np.random.default_rng(11).normal(scale=0.7, size=len(unknowns.names))
    return np.asarray(drawn)


def _cents(unknowns: Unknowns, z: FloatArray, setting: Setting, start_hz: FloatArray | None) -> FloatArray:
    hz = pitches_hz(unknowns.instrument(z), [setting], start_hz=start_hz)[0]
    return np.asarray(hz_to_cents(hz, 480.0) + unknowns.offsets_cents(z))


def _by_differences(unknowns: Unknowns, z: FloatArray, setting: Setting, hz: FloatArray) -> FloatArray:
    columns = []
    for index in range(z.size):
        step = np.zeros_like(z)
        step[index] = _STEP
        ahead, behind = (_cents(unknowns, z + by * step, setting, hz) for by in (1, -1))
        columns.append((ahead - behind) / (2 * _STEP))
    return np.column_stack(columns)


def _both(name: str, setting: Setting) -> tuple[FloatArray, FloatArray]:
    unknowns = _UNKNOWNS[name]
    z = _drawn(unknowns)
    instrument = unknowns.instrument(z)
    hz = pitches_hz(instrument, [setting])[0]
    slopes = unknowns.slopes(instrument, setting, sensitivity_at(instrument, setting, hz))
    return slopes, _by_differences(unknowns, z, setting, hz)


def _assert_agree(slopes: FloatArray, differences: FloatArray, names: tuple[str, ...]) -> None:
    assert slopes.shape == differences.shape == (len(NOTES), len(names))
    off = np.abs(slopes - differences)
    most = [_MOST_AT_THROAT_CENTS if name == "bore at node 0" else _MOST_CENTS for name in names]
    bad = (off > most) & (off > _MOST_RELATIVE * np.abs(differences))
    found = [
        f"{names[unknown]}, {NOTES[note]}: {slopes[note, unknown]:.5f} for {differences[note, unknown]:.5f}"
        for note, unknown in np.argwhere(bad)
    ]
    assert not found, "wrong slopes: " + "; ".join(found)


@pytest.mark.parametrize("setting", list(_SETTINGS))
@pytest.mark.parametrize("name", list(_UNKNOWNS))
def test_slopes_are_the_differences_of_two_instruments(name: str, setting: str) -> None:
    slopes, differences = _both(name, _SETTINGS[setting])
    _assert_agree(slopes, differences, _UNKNOWNS[name].names)


def test_a_pinch_that_has_not_been_made_moves_nothing_and_every_other_unknown_something() -> None:
    slopes, _ = _both("generic", _SETTINGS["at the zero point"])
    still = [
        name for name, column in zip(_UNKNOWNS["generic"].names, slopes.T, strict=True) if not column.any()
    ]
    assert still == ["pinch"]


def test_control_a_flipped_sign_is_caught_for_every_unknown() -> None:
    names = _UNKNOWNS["generic"].names
    slopes, differences = _both("generic", _SETTINGS["taped and pinched"])
    for index, name in enumerate(names):
        wrong = slopes.copy()
        wrong[:, index] *= -1
        with pytest.raises(AssertionError, match=f"wrong slopes: {name}, "):
            _assert_agree(wrong, differences, names)


def test_control_tape_that_is_forgotten_where_a_hole_grows_is_caught() -> None:
    """The strip stays where it is: a wider hole is covered by a smaller share."""
    unknowns, setting = _UNKNOWNS["generic"], _SETTINGS["taped and pinched"]
    _, differences = _both("generic", setting)
    instrument = unknowns.instrument(_drawn(unknowns))
    by = sensitivity_at(instrument, setting, pitches_hz(instrument, [setting])[0])
    wrong = unknowns.slopes(instrument, replace(setting, tape_mm={}), by)
    with pytest.raises(AssertionError, match=r"wrong slopes: .*high A hole, "):
        _assert_agree(wrong, differences, unknowns.names)


@pytest.mark.parametrize("name", list(_UNKNOWNS))
def test_no_deviation_is_the_start(name: str) -> None:
    unknowns = _UNKNOWNS[name]
    zero = np.zeros(len(unknowns.names))
    instrument = unknowns.instrument(zero)
    assert instrument.chanter == unknowns.start.chanter
    assert instrument.reed == unknowns.start.reed
    assert instrument.conditions == _AIR
    assert instrument.layer_scale == 1.0
    assert instrument.pinch_share == PINCH_SHARE
    assert not unknowns.offsets_cents(zero).any()


def test_control_any_deviation_is_not_the_start() -> None:
    """But for the offsets, which are no part of the instrument."""
    unknowns = _UNKNOWNS["generic"]
    zero = np.zeros(len(unknowns.names))
    for index in range(zero.size):
        z = zero.copy()
        z[index] = 0.5
        same = unknowns.instrument(z) == unknowns.instrument(zero)
        assert same == (index >= zero.size - len(NOTES)), unknowns.names[index]
    assert unknowns.offsets_cents(np.ones_like(zero)).tolist() == [unknowns.start.spread.offset_cents] * 9
