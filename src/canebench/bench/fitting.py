"""A fitting: one reed in one chanter, its takes so far, and what a plan may use."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.errors import InputError
from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE, Scale
from canebench.base.setting import Setting
from canebench.base.units import hz_step_to_cents
from canebench.bench.report import unsteadiness_cents
from canebench.bore.air import BREATH
from canebench.bore.calibrate import Knowledge, Take, calibrate
from canebench.bore.chanter_file import ChanterFile, generic
from canebench.bore.unknowns import Unknowns
from canebench.fitting.hemp import Hemp
from canebench.fitting.limits import Limits

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.readings import Measurement

#: A mean that is steadier than this says nothing about the next breath, cents; an estimate of ours.
_REPEAT_CENTS = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class FittingTake:
    """A take of a fitting: where it came from, the setting, and the pitches (NaN where not played)."""

    origin: str
    take: Take


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitting:
    """Everything a plan starts from.

    `reference_hz` None lets the drones follow low A; a number is a fixed pitch of low A, Hz.
    """

    chanter: ChanterFile = field(default_factory=generic)
    scale: Scale = DEFAULT_SCALE
    reference_hz: float | None = None
    limits: Limits = field(default_factory=Limits)
    hemp: Hemp = field(default_factory=Hemp)
    takes: tuple[FittingTake, ...] = ()

    @property
    def present(self) -> Setting:
        """The setting of the last take."""
        return self.takes[-1].take.setting if self.takes else Setting()

    @property
    def ratios(self) -> FloatArray:
        """Target ratios to low A, in scale order."""
        return np.array([self.scale.ratios[note] for note in NOTES])

    def knowledge(self) -> Knowledge:
        """What the takes have taught about this chanter and reed."""
        unknowns = Unknowns(start=self.chanter, conditions=BREATH)
        return calibrate(unknowns, [one.take for one in self.takes])


def take_of(measurement: Measurement, setting: Setting) -> FittingTake:
    """A measured take as one of a fitting; a refused one is an error that says why."""
    if measurement.refused:
        reasons = " ".join(finding.text for finding in measurement.findings if finding.refuses)
        raise InputError(
            field="take", given=measurement.origin, allowed=f"it could not be measured. {reasons}".strip()
        )
    hz, sd = np.full(len(NOTES), math.nan), np.full(len(NOTES), math.inf)
    for note in measurement.notes:
        index = NOTES.index(note.note)
        hz[index] = note.hz
        own = hz_step_to_cents(note.sd_hz, note.hz) if math.isfinite(note.sd_hz) else _REPEAT_CENTS
        sd[index] = math.hypot(own, unsteadiness_cents(note), _REPEAT_CENTS)
    return FittingTake(origin=measurement.origin, take=Take(setting=setting, hz=hz, sd_cents=sd))
