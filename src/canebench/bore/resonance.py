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
from canebench.bore.network import Cases, admittance, scan

if TYPE_CHECKING:
    from canebench.base.arrays import BoolArray, ComplexArray, FloatArray
    from canebench.bore.assembly import Network

#: Where a chanter's notes can lie, Hz, and how finely that range is searched. Two peaks of a chanter's
#: breadth are one where they lie closer than that; by steps of 3 % one of two nearly equal peaks was passed
#: over.
LOWEST_HZ: Final = 150.0
HIGHEST_HZ: Final = 1600.0
_SEARCH_STEP: Final = 1.01
_NEARBY: Final = 1.001
#: A last step this small, relative, leaves far less: 1e-5 cents at most.
STILL: Final = 1e-6
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
        found[lost] = _search(network, shares, gaps)
    return found


def _admittance(network: Network, open_share: FloatArray, gap_m: FloatArray, hz: FloatArray) -> ComplexArray:
    """What the blades drive in each case at its frequency."""
    omega = 2 * np.pi * hz[:, None]
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
        if np.all(np.abs(step) <= STILL * now):
            break
    still = np.abs(now - before) <= STILL * now
    return now, good & still & (np.abs(now / start_hz - 1) < _FAR)


def _search(network: Network, open_share: FloatArray, gap_m: FloatArray) -> FloatArray:
    """The first rise of Im Y through 0, or a stronger one close above it, of each case.

    The bore between two open holes has resonances of its own; where one falls just below a note's, the reed
    follows the higher peak of |Z|, which is the smaller Re Y. Where two are nearly as high, Re Y between two
    points of the search does not tell which: it is taken at each of the resonances.
    """
    count = int(np.ceil(np.log(HIGHEST_HZ / LOWEST_HZ) / np.log(_SEARCH_STEP)))
    grid = np.geomspace(LOWEST_HZ, HIGHEST_HZ, count)
    imbalance = scan(network, open_share, gap_m, 2 * np.pi * grid).imag
    row, at = np.nonzero((imbalance[:, :-1] < 0) & (imbalance[:, 1:] >= 0))
    silent = np.setdiff1d(np.arange(gap_m.size), row)
    if silent.size:
        raise NoResonanceError(
            f"Case {silent[0]} of this geometry has no resonance from {LOWEST_HZ:g} to {HIGHEST_HZ:g} Hz."
        )
    below, above = imbalance[row, at], imbalance[row, at + 1]
    start = grid[at] + (grid[at + 1] - grid[at]) * below / (below - above)
    first = start[np.searchsorted(row, row)]
    close = start < _CLOSE * first
    row = row[close]
    found, good = _secant(network, open_share[row], gap_m[row], start[close])
    loss = _admittance(network, open_share[row], gap_m[row], found).real
    # Per case the one that was found comes before one that was not, and the smaller loss before the larger.
    order = np.lexsort((loss, ~good, row))
    return np.asarray(found[order][np.searchsorted(row, np.arange(gap_m.size))])
