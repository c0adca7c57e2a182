"""A chanter with a reed in it, in an air: what it plays in a setting, and how that moves.

Guarded by `tests/practice/test_tape.py` and `tests/cross_method/test_sensitivity.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import InputError
from canebench.base.fingering import HOLES, OPEN_HOLES
from canebench.base.notes import NOTES
from canebench.bore.assembly import Network, assemble, medium_of, medium_per_degc
from canebench.bore.gas.air import Air, Conditions, air_at, air_per_degc
from canebench.bore.resonance import resonances_hz
from canebench.bore.sensitivity import Sensitivity, sensitivity
from canebench.bore.tape import covered_share

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray
    from canebench.base.setting import Setting
    from canebench.bore.geometry import Chanter, Reed

_MM: Final = 1e-3
#: Whether each hole is open, by note: shape (notes, holes).
OPEN: Final = np.array([[float(hole in OPEN_HOLES[note]) for hole in HOLES] for note in NOTES])
#: What one light pinch takes off the reed's volume, as a share: an estimate of ours, for the pairs of
#: measurements to replace.
PINCH_SHARE: Final = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """Everything that fixes the pitch of nine notes but the setting.

    `layer_scale` is the wall's roughness (`losses.Medium`), `pinch_share` what one pinch takes off the
    reed's volume.
    """

    chanter: Chanter
    reed: Reed
    conditions: Conditions
    layer_scale: float = 1.0
    pinch_share: float = PINCH_SHARE

    def volume_mm3(self, pinches: int) -> float:
        """The reed's volume after so many pinches."""
        return self.reed.volume_mm3 * (1 - self.pinch_share) ** pinches


def pitches_hz(
    instrument: Instrument, settings: Sequence[Setting], *, start_hz: FloatArray | None = None
) -> FloatArray:
    """What the nine notes play in each of the settings, which share their number of pinches.

    Parameters
    ----------
    instrument : Instrument
        The chanter with its reed.
    settings : sequence of n Setting
        All with the same `pinches`.
    start_hz : array (9,) or (n, 9), optional
        Roughly what they play, which saves a search.

    Returns
    -------
    array (n, 9), Hz, notes in scale order.

    Raises
    ------
    InputError
        Settings with different numbers of pinches.
    NoResonanceError
        Sizes with which a note would not play.
    """
    pinches = {setting.pinches for setting in settings}
    if len(pinches) != 1:
        raise InputError(
            field="settings", given=f"pinches {sorted(pinches)}", allowed="one number of pinches is needed"
        )
    network = network_of(instrument, pinches.pop())
    shares, gaps_m = rows_of(instrument, settings)
    start = None if start_hz is None else np.broadcast_to(start_hz, (len(settings), len(NOTES))).ravel()
    found = resonances_hz(network, shares, gaps_m, start_hz=start)
    return found.reshape(len(settings), len(NOTES))


def sensitivity_at(instrument: Instrument, setting: Setting, hz: FloatArray) -> Sensitivity:
    """Derivatives of the nine pitches `hz` that the instrument plays in `setting`.

    Parameters
    ----------
    instrument : Instrument
        The chanter with its reed.
    setting : Setting
        Seat (mm from the hand seat, deeper is positive), tape (mm) and pinches.
    hz : array (9,)
        What it plays there, Hz, in scale order: `pitches_hz` of the same.

    Returns
    -------
    Sensitivity
        Cents for a change of one unit, each array with nine rows. Guarded by
        `tests/cross_method/test_sensitivity.py`.
    """
    shares, gaps_m = rows_of(instrument, [setting])
    return sensitivity(network_of(instrument, setting.pinches), shares, gaps_m, hz)


def network_of(instrument: Instrument, pinches: int) -> Network:
    """The chain of matrices' data."""
    air, rates = _air(instrument.conditions)
    medium = replace(medium_of(air), layer_scale=instrument.layer_scale)
    reed = replace(instrument.reed, volume_mm3=instrument.volume_mm3(pinches))
    return assemble(instrument.chanter, reed, medium, per_degc=medium_per_degc(air, rates))


def rows_of(instrument: Instrument, settings: Sequence[Setting]) -> tuple[FloatArray, FloatArray]:
    """Open shares (9 n, H) and gaps (9 n,) of the nine fingerings in each setting."""
    vents = np.ones((len(NOTES), len(instrument.chanter.vents)))
    shares = [np.hstack([OPEN * _bare(instrument.chanter, setting), vents]) for setting in settings]
    gaps = [gap_mm(instrument.chanter, setting) * _MM for setting in settings]
    return np.vstack(shares), np.repeat(gaps, len(NOTES))


def gap_mm(chanter: Chanter, setting: Setting) -> float:
    """What is left below the staple; a reed cannot go deeper than the bottom of its seat."""
    return max(0.0, chanter.seat.gap_mm - setting.seat_mm)


def _bare(chanter: Chanter, setting: Setting) -> FloatArray:
    """Share of each finger hole that tape leaves open."""
    return np.array(
        [
            1 - covered_share(setting.tape_mm.get(name, 0.0), diameter_mm=hole.diameter_mm)
            for name, hole in zip(HOLES, chanter.holes, strict=True)
        ]
    )


@lru_cache(maxsize=64)
def _air(conditions: Conditions) -> tuple[Air, Air]:
    return air_at(conditions), air_per_degc(conditions)
