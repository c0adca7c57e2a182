"""The chanter's own: a model fitted to what was measured, with a posterior that every prediction carries.

Gauss-Newton for the most probable unknowns given all takes, and the normal distribution about them
(Laplace's approximation; Gelman et al. 2013, *Bayesian Data Analysis*, sec. 4.1). With slopes J_k, readings'
covariance R_k and residuals e_k of each take k, the unknowns being standard normal beforehand,

    precision = 1 + sum J_k' R_k^-1 J_k,     z <- precision^-1 sum J_k' R_k^-1 (e_k + J_k z).

Guarded by `tests/cross_method/test_calibrate.py` and `benchmarks/chanters.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import InputError
from canebench.base.notes import NOTES
from canebench.base.units import hz_to_cents
from canebench.bore.instrument import Instrument, pitches_hz, sensitivity_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray
    from canebench.base.setting import Setting
    from canebench.bore.unknowns import Unknowns

_ROUNDS: Final = 8
_STILL: Final = 1e-3
#: No step goes further than this many standard deviations in any unknown.
_LONGEST: Final = 1.5
#: Readings are never taken for better than this, cents.
_FINEST_CENTS: Final = 0.02
#: The pitch that cents are counted from inside; it cancels in every result.
_PITCH_HZ: Final = 480.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """What nine notes played in a setting.

    Attributes
    ----------
    setting : Setting
        How the reed sat and what was taped.
    hz : array (9,)
        Pitches in scale order; NaN for a note that was not played.
    sd_cents : array (9,)
        Standard uncertainty of each as a reading of this reed (how another take would repeat it).
    """

    setting: Setting
    hz: FloatArray
    sd_cents: FloatArray

    def __post_init__(self) -> None:
        if self.hz.shape != (len(NOTES),) or self.sd_cents.shape != (len(NOTES),):
            raise InputError(field="take", given=f"{self.hz.shape} pitches", allowed="nine are needed")
        heard = np.isfinite(self.hz)
        if not heard.any():
            raise InputError(field="take", given="no pitch at all", allowed="one note at least is needed")
        if np.any(self.hz[heard] <= 0) or np.any(~(self.sd_cents[heard] >= 0)):
            raise InputError(
                field="take", given="a pitch or an uncertainty below 0", allowed="both are positive"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Knowledge:
    """What is known of an instrument after some takes.

    `z` (P,) the most probable unknowns, `covariance` (P, P) theirs, `instrument` what they stand for.
    """

    unknowns: Unknowns
    takes: tuple[Take, ...]
    z: FloatArray
    covariance: FloatArray
    instrument: Instrument

    def predict(self, settings: Sequence[Setting]) -> Prediction:
        """What the nine notes will play in each setting."""
        return Prediction.of(self, settings)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """Pitches of n `settings`: `hz` (n, 9), and `slopes` (n, 9, P), cents per unknown."""

    knowledge: Knowledge
    settings: tuple[Setting, ...]
    hz: FloatArray
    slopes: FloatArray

    @classmethod
    def of(cls, knowledge: Knowledge, settings: Sequence[Setting]) -> Prediction:
        """Model plus offsets at the most probable unknowns."""
        near = knowledge.takes[-1].hz if knowledge.takes else None
        start_hz = near if near is not None and np.all(np.isfinite(near)) else None
        parts = [
            _model(knowledge.unknowns, knowledge.z, knowledge.instrument, one, start_hz) for one in settings
        ]
        cents = np.stack([part[0] for part in parts])
        return cls(
            knowledge=knowledge,
            settings=tuple(settings),
            hz=_PITCH_HZ * np.exp2(cents / 1200),
            slopes=np.stack([part[1] for part in parts]),
        )

    def sd_cents(self) -> FloatArray:
        """Standard uncertainty of each pitch: (n, 9)."""
        return _deviations(self.slopes, self.knowledge.covariance)

    def effect(self, before: int, after: int) -> tuple[FloatArray, FloatArray]:
        """Cents by which each note moves from one setting to another, and their sd: (9,), (9,)."""
        moved = 1200 * np.log2(self.hz[after] / self.hz[before])
        return moved, _deviations(self.slopes[after] - self.slopes[before], self.knowledge.covariance)


def calibrate(unknowns: Unknowns, takes: Sequence[Take]) -> Knowledge:
    """Fit the unknowns to all takes; without a take, what was known beforehand."""
    count = len(unknowns.names)
    z: FloatArray = np.zeros(count)
    covariance: FloatArray = np.eye(count)
    starts: list[FloatArray | None] = [None] * len(takes)
    moves = np.zeros((len(takes), len(NOTES), count - len(NOTES)))
    for _ in range(_ROUNDS if takes else 0):
        instrument = unknowns.instrument(z)
        precision, pull = np.eye(count), np.zeros(count)
        for index, take in enumerate(takes):
            start_hz = starts[index] if starts[index] is not None else starts[0]
            cents, slopes, hz = _model(unknowns, z, instrument, take.setting, start_hz)
            starts[index], moves[index] = hz, slopes[:, : -len(NOTES)]
            heard = np.isfinite(take.hz)
            noise = np.diag(np.maximum(take.sd_cents[heard], _FINEST_CENTS) ** 2)
            noise = noise + unknowns.start.spread.drift_cents**2
            weighted = np.linalg.solve(noise, slopes[heard]).T
            residual = hz_to_cents(take.hz[heard], _PITCH_HZ) - cents[heard]
            precision += weighted @ slopes[heard]
            pull += weighted @ (residual + slopes[heard] @ z)
        covariance = np.linalg.inv(precision)
        step = covariance @ pull - z
        longest = float(np.max(np.abs(step)))
        step = step * min(1.0, _LONGEST / max(longest, 1e-12))
        z = z + step
        moved_cents = moves @ step[: -len(NOTES)]
        starts = [
            hz * np.exp2(by / 1200) for hz, by in zip(starts, moved_cents, strict=True) if hz is not None
        ]
        if longest < _STILL:
            break
    return Knowledge(
        unknowns=unknowns,
        takes=tuple(takes),
        z=z,
        covariance=covariance,
        instrument=unknowns.instrument(z),
    )


def _model(
    unknowns: Unknowns, z: FloatArray, instrument: Instrument, setting: Setting, start_hz: FloatArray | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Cents with offsets (9,), slopes (9, P) and the model's own pitches (9,)."""
    hz = pitches_hz(instrument, [setting], start_hz=start_hz)[0]
    slopes = unknowns.slopes(instrument, setting, sensitivity_at(instrument, setting, hz))
    return hz_to_cents(hz, _PITCH_HZ) + unknowns.offsets_cents(z), slopes, hz


def _deviations(slopes: FloatArray, covariance: FloatArray) -> FloatArray:
    variance = np.einsum("...np,pq,...nq->...n", slopes, covariance, slopes)
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)))
