"""Playing frequencies: the first resonance of bore and reed together.

A double reed plays close to where the admittance that its blades drive, bore and reed volume together, turns
from mass to spring: Im Y = 0, rising (Nederveen 1969, *Acoustical Aspects of Woodwind Instruments*; Chaigne &
Kergomard 2016, ch. 9). Guarded by `tests/analytic/test_resonance.py` and
`tests/cross_method/test_openwind.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import CanebenchError
from canebench.bore.network import Cases, admittance

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray
    from canebench.bore.assembly import Network

#: Where a chanter's notes can lie, Hz, and how finely that range is searched: two resonances of one
#: fingering are never within 3 % of each other.
LOWEST_HZ: Final = 150.0
HIGHEST_HZ: Final = 1600.0
_SEARCH_STEP: Final = 1.03
_NEARBY: Final = 1.001
#: A last step this small, relative, leaves its square: far below a millionth of a cent.
_STILL: Final = 1e-6
_MOST_ROUNDS: Final = 20
#: Up to how far above the first resonance a stronger one counts as the same note.
_CLOSE: Final = 1.25
#: How far a start may lie from its resonance before the whole range is searched instead.
_FAR: Final = 0.06


class NoResonanceError(CanebenchError):
    """A fingering of this geometry has no resonance in the chanter's range."""

    code = "no-resonance"
    exit_status = 4


def resonances_hz(
    network: Network, open_share: FloatArray, gap_m: FloatArray, *, start_hz: FloatArray | None = None
) -> FloatArray:
    """First resonance of each case, Hz.

    Parameters
    ----------
    network : Network
        Chanter, reed and air.
    open_share : array (M, H)
        Open share of each hole and vent.
    gap_m : array (M,)
        Gap below the staple, metres.
    start_hz : array (M,), optional
        Frequencies near which they lie; without it, or where it is no good, the range is searched.

    Raises
    ------
    NoResonanceError
        Where a case has none between `LOWEST_HZ` and `HIGHEST_HZ`.
    """
    if start_hz is not None:
        found = _secant(network, open_share, gap_m, start_hz)
        if np.all(np.abs(found / start_hz - 1) < _FAR):
            return found
    return _secant(network, open_share, gap_m, _search(network, open_share, gap_m))


def _admittance(
    network: Network, open_share: FloatArray, gap_m: FloatArray, hz: FloatArray | float
) -> ComplexArray:
    """What the blades drive in each case at its frequency, or at one for all."""
    omega = np.broadcast_to(2 * np.pi * np.asarray(hz, float), gap_m.shape)[:, None]
    return admittance(network, Cases(omega=omega, open_share=open_share, gap_m=gap_m[:, None]))


def _secant(network: Network, open_share: FloatArray, gap_m: FloatArray, start_hz: FloatArray) -> FloatArray:
    before, now = start_hz, start_hz * _NEARBY
    value_before = _admittance(network, open_share, gap_m, before).imag
    for _ in range(_MOST_ROUNDS):
        value = _admittance(network, open_share, gap_m, now).imag
        rise = value - value_before
        step = np.where(rise == 0, 0.0, -value * (now - before) / np.where(rise == 0, 1.0, rise))
        step = np.clip(step, -_FAR * now, _FAR * now)
        before, value_before, now = now, value, now + step
        if np.all(np.abs(step) <= _STILL * now):
            break
    return now


def _search(network: Network, open_share: FloatArray, gap_m: FloatArray) -> FloatArray:
    """A start inside a rise of Im Y through 0: the first, or a stronger one close above it.

    The bore between two open holes has resonances of its own; where one falls just below a note's, the reed
    follows the higher peak of |Z|, which is the smaller Re Y.
    """
    count = int(np.ceil(np.log(HIGHEST_HZ / LOWEST_HZ) / np.log(_SEARCH_STEP)))
    grid = np.geomspace(LOWEST_HZ, HIGHEST_HZ, count)
    values = np.stack([_admittance(network, open_share, gap_m, hz) for hz in grid], axis=1)
    return np.array([_start(grid, row, index) for index, row in enumerate(values)])


def _start(grid: FloatArray, values: ComplexArray, row: int) -> float:
    below, above = values[:-1], values[1:]
    at = np.flatnonzero((below.imag < 0) & (above.imag >= 0))
    if at.size == 0:
        raise NoResonanceError(
            f"Case {row} of this geometry has no resonance from {LOWEST_HZ:g} to {HIGHEST_HZ:g} Hz."
        )
    share = below.imag[at] / (below.imag[at] - above.imag[at])
    found = grid[at] + (grid[at + 1] - grid[at]) * share
    loss = below.real[at] + (above.real[at] - below.real[at]) * share
    close = np.flatnonzero(found < _CLOSE * found[0])
    return float(found[close[np.argmin(loss[close])]])
