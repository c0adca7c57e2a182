"""How pipes differ from a textbook's tones, as figures; each can be asked for, or all drawn from a seed.

The degree "usual" is drawn about what recordings of real bagpipes and shawms show. A drone drifts 3 to 6
cents in ten seconds and wavers 2 to 3 cents RMS in all, in part with the bag's pressure, which moves every
pipe at once, and in part by itself; its level swings by 2 to 4 dB. A chanter's note wavers 0.3 to 5 cents
RMS, drifts by up to 13 cents in six seconds and swings by up to 7 dB; its partials creep in phase against
each other by some tenths of a radian in two seconds. "Steady" and "unsteady" are a better and a worse day.
Guarded by `tests/analytic/test_pipe_behaviour.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from canebench.base.errors import InputError, UnknownNameError

#: Factors of what moves pitch, and of what moves level and phase.
_DEGREES: Final = {"steady": (0.4, 0.6), "usual": (1.0, 1.0), "unsteady": (1.7, 1.3)}
DEGREES: Final = tuple(_DEGREES)
USUAL: Final = "usual"
#: Keeps the draws of a behaviour apart from those of the take that it shapes.
_OWN_STREAM: Final = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceBehaviour:
    """How one pipe, drone or chanter, behaves.

    Parameters
    ----------
    sensitivity : number
        Cents by which its pitch moves for a cent of the bag's common course.
    own_cents : number >= 0
        RMS of the waver that is its own, 0.1 to 6 Hz, cents.
    drift_cents : number >= 0
        A drone's range in ten seconds of drift, below 0.1 Hz; the most that a chanter's note drifts in six
        seconds.
    level_db : number >= 0
        Range of its level in ten seconds, dB.
    creep_rad : number >= 0
        RMS change in two seconds of a strong partial's phase against the pipe's phase; weak ones creep more.
    noise_db : number or None
        Breath and reed noise over the pipe's own power, dB; None is no noise.
    """

    sensitivity: float
    own_cents: float
    drift_cents: float
    level_db: float
    creep_rad: float
    noise_db: float | None

    def __post_init__(self) -> None:
        for name in ("own_cents", "drift_cents", "level_db", "creep_rad"):
            _not_negative(name, getattr(self, name))
        for name in ("sensitivity", "noise_db"):
            value = getattr(self, name)
            if value is not None and not math.isfinite(value):
                raise InputError(field=name, given=f"{value:g}", allowed="a number is needed")


@dataclass(frozen=True, slots=True, kw_only=True)
class PipeBehaviour:
    """Chanter and drones under one arm.

    `common_cents` is the RMS of the bag's course at a sensitivity of 1. `drones` are bass, tenor 1, tenor 2.
    A take that `strikes_in` begins as pipes do: each drone with a double tone of less than a second, then
    from below. One that `cuts_off` ends with half a second in which the bag empties and all pitches sag.
    """

    common_cents: float
    chanter: SourceBehaviour
    drones: tuple[SourceBehaviour, ...]
    strikes_in: bool = False
    cuts_off: bool = False

    def __post_init__(self) -> None:
        _not_negative("common_cents", self.common_cents)
        if not self.drones:
            raise InputError(field="drones", given="none", allowed="the behaviour of at least one is needed")


def behaviour_drawn(rng: np.random.Generator, *, degree: str = USUAL) -> PipeBehaviour:
    """A behaviour of that degree ("steady", "usual", "unsteady") for a chanter and three drones."""
    if degree not in _DEGREES:
        raise UnknownNameError(field="degree", given=degree, known=DEGREES)
    pitch, level = _DEGREES[degree]

    def between(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    common = pitch * between(1.2, 1.8)
    chanter = SourceBehaviour(
        sensitivity=between(0.3, 1.4),
        own_cents=pitch * between(0.3, 2.2),
        drift_cents=pitch * between(4.0, 12.0),
        level_db=level * between(3.0, 6.0),
        creep_rad=level * between(0.1, 0.3),
        noise_db=between(-46.0, -36.0),
    )
    drones = tuple(
        SourceBehaviour(
            sensitivity=between(0.6, 1.3),
            own_cents=pitch * between(0.9, 1.5),
            drift_cents=pitch * between(3.0, 6.0),
            level_db=level * between(2.0, 4.0),
            creep_rad=level * between(0.1, 0.3),
            noise_db=between(-50.0, -40.0),
        )
        for _ in range(3)
    )
    return PipeBehaviour(common_cents=common, chanter=chanter, drones=drones)


def behaviour_for(seed: int, *, degree: str = USUAL) -> PipeBehaviour:
    """The behaviour of that degree which belongs to a take's seed.

    Parameters
    ----------
    seed : int >= 0
        The take's.
    degree : str
        One of `DEGREES`.

    Returns
    -------
    PipeBehaviour
        The same for the same seed and degree, and independent of the take's other draws.

    Raises
    ------
    UnknownNameError
        No such degree. Guarded by `tests/analytic/test_pipe_behaviour.py`.
    """
    return behaviour_drawn(np.random.default_rng([seed, _OWN_STREAM]), degree=degree)


def still() -> PipeBehaviour:
    """Pipes' timbre, attacks and fingers, but nothing that moves and no noise: a control to start from."""
    quiet = SourceBehaviour(
        sensitivity=1.0, own_cents=0.0, drift_cents=0.0, level_db=0.0, creep_rad=0.0, noise_db=None
    )
    return PipeBehaviour(common_cents=0.0, chanter=quiet, drones=(quiet, quiet, quiet))


def _not_negative(field: str, value: float) -> None:
    if not (math.isfinite(value) and value >= 0):
        raise InputError(field=field, given=f"{value:g}", allowed="0 or more is needed", nearest="0")
