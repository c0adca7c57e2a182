"""A fitting: one reed in one chanter, its takes so far, and what a plan may use."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, ClassVar, Final

import numpy as np

from canebench.base.errors import InputError
from canebench.base.notes import LOW_A, NOTES
from canebench.base.scales import DEFAULT_SCALE, Scale
from canebench.base.setting import Setting
from canebench.base.sizes import Range
from canebench.base.units import hz_step_to_cents, hz_to_cents
from canebench.bench.acts.fitting.model_effects import model_effects
from canebench.bench.acts.fitting.report import unsteadiness_cents
from canebench.bore.chanter_file import ChanterFile, generic
from canebench.fitting.balance import Deviation
from canebench.fitting.belief import BREATH_CENTS, HeardTake, believed
from canebench.fitting.hemp import Hemp
from canebench.fitting.limits import Limits
from canebench.fitting.take import Take
from canebench.reeds import eases

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.fitting.belief import Belief
    from canebench.sound.analysis.readings import Measurement

#: A mean that is steadier than this says nothing about the next breath, cents; an estimate of ours.
_REPEAT_CENTS = 0.3
_LOW_A: Final = NOTES.index(LOW_A)
_FIXED: Final = Range(
    low=350.0,
    high=600.0,
    usual=478.0,
    unit="Hz",
    slips=((2.0, "if that was a tenor drone"), (4.0, "if that was the bass drone")),
)


class RefusedTakeError(InputError):
    """A take in which nothing could be measured: no plan starts from it."""

    code: ClassVar[str] = "refused"
    exit_status: ClassVar[int] = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class FittingTake:
    """A take of a fitting: where it came from, the setting, and the pitches (NaN where not played)."""

    origin: str
    take: Take


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitting:
    """Everything a plan starts from.

    `reference_hz` None lets the drones follow low A; a number is a fixed pitch of low A, Hz. `planned` are
    the settings that its last plan leads through, the next one first; None where that has to be planned anew.
    `pinched` counts the pinches in the reed's life, where more is known of it than these takes.
    """

    chanter: ChanterFile = field(default_factory=generic)
    scale: Scale = DEFAULT_SCALE
    reference_hz: float | None = None
    limits: Limits = field(default_factory=Limits)
    hemp: Hemp = field(default_factory=Hemp)
    takes: tuple[FittingTake, ...] = ()
    planned: tuple[Setting, ...] | None = None
    pinched: int = 0

    def __post_init__(self) -> None:
        if self.reference_hz is not None:
            _FIXED.check("reference", self.reference_hz)

    def with_take(self, one: FittingTake) -> Fitting:
        """With one take more; a pinch since the one before it is no longer left."""
        pinched = max(0, one.take.setting.pinches - self.present.pinches) if self.takes else 0
        limits = replace(self.limits, pinches_left=max(0, self.limits.pinches_left - pinched))
        return replace(self, takes=(*self.takes, one), limits=limits, pinched=self.pinched + pinched)

    @property
    def present(self) -> Setting:
        """The setting of the last take."""
        return self.takes[-1].take.setting if self.takes else Setting()

    @property
    def deepest_mm(self) -> float:
        """Where the seat has its bottom, mm deeper than the zero point."""
        return self.chanter.chanter.seat.gap_mm

    def within_a_life(self) -> Fitting:
        """With limits that end at the most pinches in a reed's life, however many are asked for."""
        left = eases.left(max(self.pinched, self.present.pinches))
        return replace(self, limits=replace(self.limits, pinches_left=min(self.limits.pinches_left, left)))

    @property
    def ratios(self) -> FloatArray:
        """Target ratios to low A, in scale order."""
        return np.array([self.scale.ratios[note] for note in NOTES])

    @property
    def follow_low_a(self) -> bool:
        """Whether the drones follow low A, so that only intervals count."""
        return self.reference_hz is None

    @property
    def targets_hz(self) -> FloatArray:
        """What nine notes shall be: on the fixed pitch, or on the low A that was heard first."""
        low_a = self.reference_hz
        if low_a is None:
            heard = [one.take.hz[_LOW_A] for one in self.takes if np.isfinite(one.take.hz[_LOW_A])]
            low_a = float(heard[0]) if heard else _FIXED.usual
        return np.asarray(low_a * self.ratios)

    def belief(self) -> Belief:
        """What the takes have taught about this chanter and reed, in cents above the targets."""
        targets_hz = self.targets_hz
        takes = [
            HeardTake(
                setting=one.take.setting,
                cents=hz_to_cents(one.take.hz, targets_hz),
                sd_cents=one.take.sd_cents,
                room_degc=one.take.room_degc,
            )
            for one in self.takes
        ]
        return believed(model_effects(self.chanter), takes)

    def newest(self) -> dict[str, Deviation]:
        """The newest take's deviations from the targets, with what another breath would differ by."""
        take = self.takes[-1].take
        cents, sd = hz_to_cents(take.hz, self.targets_hz), np.hypot(take.sd_cents, BREATH_CENTS[1])
        if self.follow_low_a:
            # Low A's own breath is in every deviation from it.
            cents, sd = cents - cents[_LOW_A], np.hypot(sd, sd[_LOW_A])
            sd[_LOW_A] = 0.0
        return {
            note: Deviation(
                cents=float(cents[i]), sd_cents=float(sd[i]), interval_cents=self.scale.cents(note)
            )
            for i, note in enumerate(NOTES)
            if np.isfinite(cents[i])
        }


def take_of(
    measurement: Measurement,
    setting: Setting,
    *,
    warm_min: float | None = None,
    room_degc: float | None = None,
) -> FittingTake:
    """A measured take as one of a fitting; a refused one is an error that says why."""
    if measurement.refused:
        reasons = " ".join(finding.text for finding in measurement.findings if finding.refuses)
        said = f"it could not be measured. {reasons}".strip().removesuffix(".")
        raise RefusedTakeError(field="take", given=measurement.origin, allowed=said)
    hz, sd = np.full(len(NOTES), math.nan), np.full(len(NOTES), math.inf)
    for note in measurement.notes:
        index = NOTES.index(note.note)
        hz[index] = note.hz
        own = hz_step_to_cents(note.sd_hz, note.hz) if math.isfinite(note.sd_hz) else _REPEAT_CENTS
        sd[index] = math.hypot(own, unsteadiness_cents(note), _REPEAT_CENTS)
    take = Take(setting=setting, hz=hz, sd_cents=sd, warm_min=warm_min, room_degc=room_degc)
    return FittingTake(origin=measurement.origin, take=take)
