"""The chanter's own: a model fitted to what was measured, with a posterior that every prediction carries.

Gauss-Newton for the most probable unknowns given all takes, and the normal distribution about them
(Laplace's approximation; Gelman et al. 2013, *Bayesian Data Analysis*, sec. 4.1). With slopes J_k, readings'
covariance R_k and residuals e_k of each take k, the unknowns being standard normal beforehand,

    precision = 1 + sum J_k' R_k^-1 J_k,     z <- precision^-1 sum J_k' R_k^-1 (e_k + J_k z).

Several takes are fitted loosely first, as if each note repeated far worse than it does: exact readings of a
bent answer (high A) have false optima, which a loose fit passes by.

Guarded by `tests/cross_method/test_calibrate.py` and `benchmarks/chanters.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import CanebenchError, InputError
from canebench.base.notes import NOTES
from canebench.base.units import hz_to_cents
from canebench.bore.instrument import Instrument, pitches_hz, sensitivities_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray
    from canebench.base.setting import Setting
    from canebench.bore.unknowns import Unknowns

_ROUNDS: Final = 20
_HALVINGS: Final = 6
#: The fit rests when no unknown moves by more than this share of its spread, or the misfit falls by less.
_STILL: Final = 1e-3
_GAIN: Final = 1e-3
#: A misfit for each pitch that simulated chanters hardly ever reach (three fits of a thousand, where one ends
#: in a false optimum: `benchmarks/chanters.py`), and that a seat told on the wrong side (73 at least, of 120)
#: or another chanter's take (12 at least) surpasses. A seat told half a millimetre wrong does not.
_DOUBTFUL: Final = 8.0
#: No step goes further than this many standard deviations in any unknown.
_LONGEST: Final = 1.5
#: How much wider than they are the readings' uncertainties are in a first, loose fit, and when that rests.
_LOOSE: Final = 10.0
_LOOSE_GAIN: Final = 1.0
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
    `misfit` is minus twice their log posterior for each pitch heard, about 1 where model and takes agree.
    """

    unknowns: Unknowns
    takes: tuple[Take, ...]
    z: FloatArray
    covariance: FloatArray
    instrument: Instrument
    misfit: float = 0.0

    @property
    def doubtful(self) -> bool:
        """Whether the takes hardly belong to one reed in one chanter in the settings told."""
        return self.misfit > _DOUBTFUL

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
        start_hz = _whole(knowledge.takes[-1].hz) if knowledge.takes else None
        cents, slopes, _hz = _model(knowledge.unknowns, knowledge.z, knowledge.instrument, settings, start_hz)
        return cls(
            knowledge=knowledge,
            settings=tuple(settings),
            hz=_PITCH_HZ * np.exp2(cents / 1200),
            slopes=slopes,
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
    z: FloatArray = np.zeros(len(unknowns.names))
    covariance: FloatArray = np.eye(z.size)
    misfit = 0.0
    if takes:
        point = _fit(unknowns, takes, z)
        z, covariance = point.z, point.covariance
        misfit = point.misfit / sum(int(np.isfinite(take.hz).sum()) for take in takes)
    return Knowledge(
        unknowns=unknowns,
        takes=tuple(takes),
        z=z,
        covariance=covariance,
        instrument=unknowns.instrument(z),
        misfit=misfit,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Point:
    """The model at some unknowns: its misfit (minus twice the log posterior), slopes, where a step leads."""

    z: FloatArray
    hz: FloatArray
    slopes: FloatArray
    misfit: float
    covariance: FloatArray
    step: FloatArray


def _fit(unknowns: Unknowns, takes: Sequence[Take], z: FloatArray) -> _Point:
    """The most probable unknowns; of several takes by way of a loose fit."""
    start_hz = _whole(takes[0].hz)
    if len(takes) > 1:
        wide = [_LOOSE * np.maximum(take.sd_cents, _FINEST_CENTS) for take in takes]
        loose = [replace(take, sd_cents=sd) for take, sd in zip(takes, wide, strict=True)]
        passed = _most_probable(unknowns, loose, z, start_hz, gain=_LOOSE_GAIN)
        z, start_hz = passed.z, passed.hz
    return _most_probable(unknowns, takes, z, start_hz, gain=_GAIN)


def _most_probable(
    unknowns: Unknowns, takes: Sequence[Take], z: FloatArray, start_hz: FloatArray | None, *, gain: float
) -> _Point:
    """Gauss-Newton steps, each halved until it lowers the misfit: high A can answer in a bent way."""
    point = _point(unknowns, takes, z, start_hz)
    for _ in range(_ROUNDS):
        longest = float(np.max(np.abs(point.step)))
        if longest < _STILL:
            break
        step = point.step * min(1.0, _LONGEST / longest)
        for _halving in range(_HALVINGS):
            own = point.slopes[:, :, : -len(NOTES)] @ step[: -len(NOTES)]
            trial = _tried(unknowns, takes, point.z + step, point.hz * np.exp2(own / 1200))
            if trial is not None and trial.misfit < point.misfit:
                break
            step = step / 2
        else:
            break
        gained, point = point.misfit - trial.misfit, trial
        if gained < gain:
            break
    return point


def _tried(unknowns: Unknowns, takes: Sequence[Take], z: FloatArray, start_hz: FloatArray) -> _Point | None:
    """The model there; None where these unknowns stand for nothing that could be or that would play."""
    try:
        return _point(unknowns, takes, z, start_hz)
    except CanebenchError:
        return None


def _point(unknowns: Unknowns, takes: Sequence[Take], z: FloatArray, start_hz: FloatArray | None) -> _Point:
    settings = [take.setting for take in takes]
    cents, slopes, hz = _model(unknowns, z, unknowns.instrument(z), settings, start_hz)
    precision, pull, misfit = np.eye(z.size), np.zeros(z.size), float(z @ z)
    for index, take in enumerate(takes):
        heard = np.isfinite(take.hz)
        by = slopes[index][heard]
        noise = np.diag(np.maximum(take.sd_cents[heard], _FINEST_CENTS) ** 2)
        noise = noise + unknowns.start.spread.drift_cents**2
        weighted = np.linalg.solve(noise, by).T
        residual = hz_to_cents(take.hz[heard], _PITCH_HZ) - cents[index][heard]
        misfit += float(residual @ np.linalg.solve(noise, residual))
        precision += weighted @ by
        pull += weighted @ (residual + by @ z)
    covariance = np.linalg.inv(precision)
    return _Point(z=z, hz=hz, slopes=slopes, misfit=misfit, covariance=covariance, step=covariance @ pull - z)


def _whole(hz: FloatArray) -> FloatArray | None:
    """Pitches to start a search from, if all nine are there."""
    return hz if np.all(np.isfinite(hz)) else None


def _model(
    unknowns: Unknowns,
    z: FloatArray,
    instrument: Instrument,
    settings: Sequence[Setting],
    start_hz: FloatArray | None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Cents with offsets (n, 9), slopes (n, 9, P) and the model's own pitches (n, 9) in each setting."""
    count = len(settings)
    hz = np.empty((count, len(NOTES)))
    slopes = np.empty((count, len(NOTES), z.size))
    for pinches in {setting.pinches for setting in settings}:
        rows = [i for i in range(count) if settings[i].pinches == pinches]
        here = [settings[i] for i in rows]
        start = start_hz if start_hz is None or start_hz.ndim == 1 else start_hz[rows]
        hz[rows] = pitches_hz(instrument, here, start_hz=start)
        by = sensitivities_at(instrument, here, hz[rows])
        slopes[rows] = [unknowns.slopes(instrument, one, part) for one, part in zip(here, by, strict=True)]
    return hz_to_cents(hz, _PITCH_HZ) + unknowns.offsets_cents(z), slopes, hz


def _deviations(slopes: FloatArray, covariance: FloatArray) -> FloatArray:
    variance = np.einsum("...np,pq,...nq->...n", slopes, covariance, slopes)
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)))
