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
    from canebench.base.arrays import BoolArray, ComplexArray, FloatArray
    from canebench.bore.assembly import Network

#: Where a chanter's notes can lie, Hz, and how finely that range is searched: a rise and a fall closer than
#: that are a weak resonance of some length between holes, and not what is played.
LOWEST_HZ: Final = 150.0
HIGHEST_HZ: Final = 1600.0
_SEARCH_STEP: Final = 1.03
_NEARBY: Final = 1.001
#: A last step this small, relative, leaves far less: 1e-5 cents at most.
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
    http_status = 422


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
    found = np.full(gap_m.shape, np.nan)
    if start_hz is not None:
        near, good = _secant(network, open_share, gap_m, start_hz)
        found[good] = near[good]
    lost = np.isnan(found)
    if lost.any():
        shares, gaps = open_share[lost], gap_m[lost]
        found[lost] = _secant(network, shares, gaps, _search(network, shares, gaps))[0]
    return found


def _admittance(
    network: Network, open_share: FloatArray, gap_m: FloatArray, hz: FloatArray | float
) -> ComplexArray:
    """What the blades drive in each case at its frequency, or at one for all."""
    omega = np.broadcast_to(2 * np.pi * np.asarray(hz, float), gap_m.shape)[:, None]
    return admittance(network, Cases(omega=omega, open_share=open_share, gap_m=gap_m[:, None]))


def _secant(
    network: Network, open_share: FloatArray, gap_m: FloatArray, start_hz: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Where Im Y = 0 near each start, and whether that is a resonance: found, near, and rising."""
    before, now = start_hz, start_hz * _NEARBY
    value_before = _admittance(network, open_share, gap_m, before).imag
    good = np.zeros(now.shape, bool)
    for _ in range(_MOST_ROUNDS):
        value = _admittance(network, open_share, gap_m, now).imag
        moved, rise = now - before, value - value_before
        step = np.where(rise == 0, 0.0, -value * moved / np.where(rise == 0, 1.0, rise))
        step = np.clip(step, -_FAR * now, _FAR * now)
        good = np.where(rise == 0, good, rise * moved > 0)
        before, value_before, now = now, value, now + step
        if np.all(np.abs(step) <= _STILL * now):
            break
    still = np.abs(now - before) <= _STILL * now
    return now, good & still & (np.abs(now / start_hz - 1) < _FAR)


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
