"""Bores with reeds of one mass, drawn wide, in the settings in which predictions are compared."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.bore.assembly import assemble
from canebench.bore.resonance import resonances_hz
from support.bores import BREATH, shares
from support.random_bores import random_bore
from support.reactive_balance import Blown, MassReed

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.bore.assembly import Network

DEEPER_MM, _TAPE_MM = 0.5, 1.5
#: Rows of a bore: nine notes, each bare, deeper and taped.
SETTINGS: Final = 3
#: Of the closing pressure, where a note would never begin.
_USUAL: Final = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class BlownChanter:
    """A bore with its reed in 27 rows, notes by settings; `network` has the reed as one volume."""

    network: Network
    blown: Blown
    resonance_hz: FloatArray
    onset_hz: FloatArray
    mouth_pa: FloatArray

    @property
    def share(self) -> FloatArray:
        """Blowing over closing pressure (27,)."""
        return self.mouth_pa / self.blown.reed.closing_pa


def drawn_reed(rng: np.random.Generator, volume_mm3: float) -> MassReed:
    """Blades whose room and yielding make up a volume: estimates, drawn wide."""
    room = rng.uniform(0.4, 0.7)
    return MassReed(
        cavity_mm3=room * volume_mm3,
        spring_mm3=(1 - room) * volume_mm3,
        own_hz=rng.uniform(3000.0, 8000.0),
        damping=rng.uniform(0.1, 0.6),
        closing_pa=rng.uniform(6e3, 16e3),
        slit_m2=rng.uniform(1e-6, 3e-6),
    )


def blown_chanter(seed: int, rng: np.random.Generator) -> BlownChanter:
    """A bore drawn from `seed`, its reed and how hard it is blown from `rng`."""
    bore = random_bore(seed)
    network = assemble(bore.chanter, bore.reed, BREATH)
    reed = drawn_reed(rng, bore.reed.volume_mm3)
    return chanter_of(network, reed, bore.gap_m, rng.uniform(1.1, 1.6))


def chanter_of(network: Network, reed: MassReed, gap_m: float, over: float) -> BlownChanter:
    """Its 27 rows, blown `over` times as hard as where the bare note begins."""
    rows = []
    for note, bare in zip(NOTES, shares(network), strict=True):
        own = {note: _TAPE_MM} if note in HOLES else {}
        rows += [bare, bare, shares(network, [note], own)[0]]
    deeper_m = gap_m - 1e-3 * DEEPER_MM
    gaps_m = np.tile([gap_m, deeper_m, gap_m], len(NOTES))
    blown = Blown(network=network, reed=reed, open_share=np.array(rows), gap_m=gaps_m)
    bare_hz = resonances_hz(network, blown.open_share[::SETTINGS], gaps_m[::SETTINGS])
    start_hz = np.repeat(bare_hz, SETTINGS)
    onset_hz, onset_pa = blown.threshold(start_hz)
    usual_pa = _USUAL * reed.closing_pa
    mouth_pa = over * np.repeat(np.nan_to_num(onset_pa[::SETTINGS], nan=usual_pa), SETTINGS)
    return BlownChanter(
        network=network,
        blown=blown,
        resonance_hz=resonances_hz(network, blown.open_share, gaps_m, start_hz=start_hz),
        onset_hz=np.where(np.isnan(onset_hz), start_hz, onset_hz),
        mouth_pa=mouth_pa,
    )


def harder(blown: Blown, times: float) -> Blown:
    """The same with blades so many times as stiff, their mass as it was."""
    reed = blown.reed
    stiff = replace(
        reed,
        spring_mm3=reed.spring_mm3 / times,
        own_hz=reed.own_hz * np.sqrt(times),
        damping=reed.damping / np.sqrt(times),
        closing_pa=reed.closing_pa * times,
    )
    return replace(blown, reed=stiff)
