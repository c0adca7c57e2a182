"""The pitch found is a resonance: Im Y = 0 and rising, from wherever it is looked for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.notes import HIGH_A, LOW_G, NOTES, C, E
from canebench.bore.assembly import assemble
from canebench.bore.network import Cases, admittance
from canebench.bore.resonance import HIGHEST_HZ, LOWEST_HZ, NoResonanceError, resonances_hz
from support.bores import (
    BREATH,
    LOSSLESS,
    SPEED_M_S,
    bare_bore,
    cents,
    first_hz,
    ideal_end,
    invented_chanter,
    invented_hz,
    invented_reed,
    pitches_hz,
    shares,
)
from support.pitch import assert_within_cents

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray
    from canebench.bore.assembly import Network

_NETWORK = assemble(invented_chanter(), invented_reed(), BREATH)
#: High A has two resonances within a semitone: which of them is found depends on the start.
_ONE_ALONE = [note for note in NOTES if note != HIGH_A]


def _admittance(
    note: str, hz: FloatArray, *, network: Network = _NETWORK, gap_mm: float = 0.0
) -> ComplexArray:
    rows = hz.size
    open_share = np.repeat(shares(network, [note]), rows, axis=0)
    gap_m = np.full((rows, 1), 1e-3 * gap_mm)
    return admittance(network, Cases(omega=2 * np.pi * hz[:, None], open_share=open_share, gap_m=gap_m))


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossings:
    """Where Im Y passes 0 rising and falling, and how strong (1 / Re Y) each rise is."""

    rising_hz: FloatArray
    strength: FloatArray
    falling_hz: FloatArray

    @property
    def strongest_hz(self) -> float:
        """Of the first and those less than a major third above it."""
        close = self.rising_hz < 1.25 * self.rising_hz[0]
        return float(self.rising_hz[close][np.argmax(self.strength[close])])


def _crossings(note: str, *, network: Network = _NETWORK, gap_mm: float = 0.0) -> Crossings:
    """From a grid twenty times as fine as the search's."""
    grid = np.geomspace(LOWEST_HZ, HIGHEST_HZ, 1_600)
    found = _admittance(note, grid, network=network, gap_mm=gap_mm)
    imag = found.imag
    at = np.flatnonzero(np.sign(imag[:-1]) != np.sign(imag[1:]))
    where = grid[at] + (grid[at + 1] - grid[at]) * imag[at] / (imag[at] - imag[at + 1])
    rising = imag[at + 1] > imag[at]
    return Crossings(rising_hz=where[rising], strength=1 / found.real[at][rising], falling_hz=where[~rising])


@pytest.mark.parametrize("note", NOTES)
def test_root_is_a_rising_zero_of_the_imbalance(note: str) -> None:
    """To a hundred-thousandth of a cent; a thousandth of a cent off the sign has changed (control)."""
    (found,) = pitches_hz(_NETWORK, notes=[note])
    shift = 2.0 ** (np.array([-1e-3, 0.0, 1e-3]) / 1200)
    below, here, above = _admittance(note, found * shift).imag
    assert below < 0 < above
    assert abs(here) < 1e-2 * min(-below, above)


@pytest.mark.parametrize("note", NOTES)
def test_it_is_the_strongest_near_the_first_of_a_fine_grid(note: str) -> None:
    (found,) = pitches_hz(_NETWORK, notes=[note])
    assert_within_cents(found, _crossings(note).strongest_hz, cents=0.05)


@pytest.mark.parametrize("socket_mm", [4.0, 6.0, 7.5])
def test_high_a_at_any_depth_is_the_stronger_of_its_two(socket_mm: float) -> None:
    """The length below its open holes has a resonance a semitone lower, and there the stronger changes."""
    network = assemble(invented_chanter(socket_mm=socket_mm), invented_reed(), BREATH)
    for gap_mm in (0.0, 0.4, 0.8, 1.2, 1.6):
        (found,) = pitches_hz(network, notes=[HIGH_A], gap_mm=gap_mm)
        true = _crossings(HIGH_A, network=network, gap_mm=gap_mm)
        assert_within_cents(found, true.strongest_hz, cents=0.5)


def test_control_the_first_is_not_always_the_strongest() -> None:
    true = _crossings(HIGH_A)
    assert true.rising_hz[0] < 0.99 * true.strongest_hz
    with pytest.raises(AssertionError, match="cents, allowed"):
        assert_within_cents(
            float(pitches_hz(_NETWORK, notes=[HIGH_A])[0]), float(true.rising_hz[0]), cents=0.5
        )


@pytest.mark.parametrize("off", [0.96, 0.99, 0.9999, 1.0, 1.0001, 1.01, 1.04])
def test_warm_is_cold(off: float) -> None:
    """From near as from nothing, to a ten-thousandth of a cent."""
    cold = pitches_hz(_NETWORK, notes=_ONE_ALONE)
    warm = pitches_hz(_NETWORK, notes=_ONE_ALONE, start_hz=off * cold)
    assert np.max(np.abs(cents(warm, cold))) < 1e-4


@pytest.mark.parametrize("off", [0.5, 0.8, 1.25, 1.6])
def test_a_start_that_is_no_good_is_forgotten(off: float) -> None:
    cold = pitches_hz(_NETWORK, notes=_ONE_ALONE)
    assert np.max(np.abs(cents(pitches_hz(_NETWORK, notes=_ONE_ALONE, start_hz=off * cold), cold))) < 1e-4


@pytest.mark.parametrize("off", [0.999, 1.0, 1.001, 1.01])
def test_high_a_is_followed(off: float) -> None:
    """From near its own pitch, not that of the length below, a semitone lower."""
    start = invented_hz([HIGH_A])
    own = pitches_hz(_NETWORK, notes=[HIGH_A], start_hz=start)
    again = pitches_hz(_NETWORK, notes=[HIGH_A], start_hz=off * own)
    assert abs(cents(own, start)[0]) < 20
    assert abs(cents(again, own)[0]) < 1e-4


@pytest.mark.parametrize("note", [LOW_G, C, E])
def test_a_start_at_an_antiresonance_is_forgotten(note: str) -> None:
    """Where Im Y falls through 0 the bore is soft: nothing plays there."""
    true = _crossings(note)
    found = pitches_hz(_NETWORK, notes=[note], start_hz=true.falling_hz[:1])
    assert_within_cents(float(found[0]), true.strongest_hz, cents=0.05)


def test_many_cases_at_once_are_each_alone() -> None:
    together = pitches_hz(_NETWORK, notes=_ONE_ALONE)
    alone = [pitches_hz(_NETWORK, notes=[note])[0] for note in _ONE_ALONE]
    assert np.max(np.abs(cents(together, np.array(alone)))) < 1e-4


def test_no_resonance_in_range_is_said() -> None:
    """A quarter wave of 1 kHz is found; one beyond 1600 Hz is an error, not the edge of the range."""
    bore = ideal_end(bare_bore(LOSSLESS, length_mm=170.0, top_mm=8.0, bottom_mm=8.0))
    long = replace(bore, step_m=bore.step_m * 0.5)
    assert_within_cents(first_hz(long), SPEED_M_S / (4 * 0.085), cents=1e-3)
    short = replace(bore, step_m=bore.step_m * 0.3)
    assert SPEED_M_S / (4 * 0.051) > HIGHEST_HZ
    with pytest.raises(NoResonanceError, match=r"Case 0 .* no resonance from 150 to 1600 Hz"):
        first_hz(short)


def test_the_case_without_a_resonance_is_named() -> None:
    """The second of two: a gap so long that its first resonance lies below the range."""
    bore = ideal_end(bare_bore(LOSSLESS, length_mm=170.0, top_mm=8.0, bottom_mm=8.0))
    short = replace(bore, step_m=bore.step_m * 0.3)
    none = np.empty((2, 0))
    with pytest.raises(NoResonanceError, match="Case 1 "):
        resonances_hz(short, none, np.array([0.03, 0.0]))
    found = resonances_hz(short, none, np.array([0.03, 0.02]))
    assert_within_cents(float(found[0]), SPEED_M_S / (4 * 0.081), cents=1e-3)
    assert_within_cents(float(found[1]), SPEED_M_S / (4 * 0.071), cents=1e-3)
