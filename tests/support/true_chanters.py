"""Chanters whose truth is known and is not the model's: drawn sizes, and other losses than ours.

Sizes differ from the generic chanter's: every diameter of the bore by 3 %, every hole by 5 %, the reed by
30 % (standard deviations), the seat and its gap by what the generic file states. Losses are those of thin
boundary layers to first order (Kirchhoff 1868, as in Chaigne & Kergomard 2016, eq. 5.144) about a wall that
is rougher or smoother by 25 %, not the Bessel functions of `canebench.bore.losses`.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING
from unittest.mock import patch

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.bore.chanter_file import generic
from canebench.bore.gas.air import BREATH
from canebench.bore.instrument import Instrument, pitches_hz
from canebench.bore.unknowns import Unknowns
from canebench.fitting.take import Take

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from canebench.base.arrays import FloatArray
    from canebench.bore.autodiff import Number
    from canebench.bore.losses import Medium

UNKNOWNS = Unknowns(start=generic(), conditions=BREATH)
#: How well a note repeats, cents: two breaths of a steady piper.
REPEAT_CENTS = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueChanter:
    """What plays when the model does not look."""

    instrument: Instrument
    start_hz: FloatArray

    def hz(self, settings: Sequence[Setting]) -> FloatArray:
        """Pitches (n, 9) without any noise."""
        with other_losses():
            return pitches_hz(self.instrument, settings, start_hz=self.start_hz)

    def take(self, setting: Setting, rng: np.random.Generator) -> Take:
        """A take of it: each note unsteady by itself, and all together by the take's drift."""
        drift = UNKNOWNS.start.spread.drift_cents
        noise = REPEAT_CENTS * rng.normal(size=len(NOTES)) + drift * rng.normal()
        hz = self.hz([setting])[0] * np.exp2(noise / 1200)
        return Take(setting=setting, hz=hz, sd_cents=np.full(len(NOTES), REPEAT_CENTS))


def true_chanter(rng: np.random.Generator) -> TrueChanter:
    """One of them."""
    z = rng.normal(size=len(UNKNOWNS.names))
    z[-len(NOTES) :] = 0.0  # what the model leaves out is here the other losses, not an offset
    instrument = UNKNOWNS.instrument(z)
    with other_losses():
        return TrueChanter(instrument=instrument, start_hz=pitches_hz(instrument, [Setting()])[0])


@contextmanager
def other_losses() -> Iterator[None]:
    """The same network with the other losses."""
    network = patch("canebench.bore.network.line", _thin_layers)
    with network, patch("canebench.bore.toneholes.line", _thin_layers):
        yield


def _thin_layers(radius_m: Number, omega: Number, medium: Medium) -> tuple[Number, Number]:
    root = (1j * omega) ** 0.5
    viscous = 2 * medium.viscosity_m2_s**0.5 * medium.layer_scale / (radius_m * root)
    thermal = 2 * medium.diffusivity_m2_s**0.5 * medium.layer_scale / (radius_m * root)
    area = np.pi * (radius_m * radius_m)
    series = (1j * omega * medium.density_kg_m3 / area) * (1 + viscous)
    shunt = (1j * omega * area / medium.stiffness_pa) * (1 + (medium.gamma - 1) * thermal)
    return series, shunt
