"""What the fitted model says of seat and tape, as the tables that the plan is made from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.setting import Setting
from canebench.base.uncertain import Uncertain
from canebench.bore.instrument import pitches_hz
from canebench.fitting.balance import Deviation
from canebench.fitting.response import Response

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.bench.acts.fitting.fitting import Fitting
    from canebench.bore.calibrate import Knowledge, Prediction

_LEVELS: Final = np.array([0.0, 0.3, 0.55, 0.8, 1.0])
_LOW_A: Final = NOTES.index(LOW_A)
_HIGH_A: Final = NOTES.index(HIGH_A)


def response_of(fitting: Fitting, knowledge: Knowledge, *, pinches: int) -> Response:
    """Tables at the fitted sizes: every seat step bare, and every hole under growing tape."""
    limits, chanter = fitting.limits, knowledge.instrument.chanter
    seats = limits.seats_mm(fitting.present.seat_mm, deepest_mm=chanter.seat.gap_mm)
    bare_hz = pitches(knowledge, [Setting(seat_mm=float(seat), pinches=pinches) for seat in seats])
    bare = deviations_cents(fitting, bare_hz)
    # Tape is tabled where the octave is about right: near where it will be used.
    near = int(np.argmin(np.abs(bare[:, _HIGH_A] - bare[:, _LOW_A])))
    most = np.array([hole.diameter_mm * limits.tape_share for hole in chanter.holes])
    reach = most[:, None] * _LEVELS
    taped = [
        Setting(seat_mm=float(seats[near]), pinches=pinches, tape_mm={hole: float(reach[i, level])})
        for i, hole in enumerate(HOLES)
        for level in range(1, _LEVELS.size)
    ]
    hz = pitches(knowledge, taped, bare_hz[near]).reshape(len(HOLES), -1, len(NOTES))
    flatter = np.zeros((len(HOLES), _LEVELS.size, len(NOTES)))
    flatter[:, 1:] = -1200 * np.log2(hz / bare_hz[near])
    return Response(seat_mm=seats, bare_cents=bare, reach_mm=reach, flatter_cents=flatter)


def deviations_cents(fitting: Fitting, hz: FloatArray) -> FloatArray:
    """Cents above target: of the fixed pitch, or of each row's own low A where the drones follow it."""
    low_a = hz[..., [_LOW_A]] if fitting.reference_hz is None else fitting.reference_hz
    return np.asarray(1200 * np.log2(hz / (low_a * fitting.ratios)))


def beam_of(fitting: Fitting, prediction: Prediction, row: int) -> dict[str, Deviation]:
    """One predicted beam: each note's deviation with its uncertainty."""
    slopes = prediction.slopes[row]
    if fitting.reference_hz is None:
        slopes = slopes - slopes[_LOW_A]
    variance = np.einsum("np,pq,nq->n", slopes, prediction.knowledge.covariance, slopes)
    cents = deviations_cents(fitting, prediction.hz[row])
    return {
        note: Deviation(
            cents=float(cents[i]),
            sd_cents=float(np.sqrt(max(0.0, variance[i]))),
            interval_cents=fitting.scale.cents(note),
        )
        for i, note in enumerate(NOTES)
    }


def per_mm_of_seat(knowledge: Knowledge, setting: Setting) -> dict[str, Uncertain]:
    """Cents for a millimetre of deeper seat, from a quarter of a millimetre either way."""
    prediction = knowledge.predict([_moved(setting, step) for step in (-0.25, 0.25)])
    moved, sd = prediction.effect(0, 1)
    return {note: Uncertain(value=float(2 * moved[i]), sd=float(2 * sd[i])) for i, note in enumerate(NOTES)}


def _moved(setting: Setting, by_mm: float) -> Setting:
    return Setting(seat_mm=setting.seat_mm + by_mm, tape_mm=setting.tape_mm, pinches=setting.pinches)


def pitches(knowledge: Knowledge, settings: list[Setting], start_hz: FloatArray | None = None) -> FloatArray:
    """Model pitches with the offsets that were learnt."""
    if start_hz is None and knowledge.takes and np.all(np.isfinite(knowledge.takes[-1].hz)):
        start_hz = knowledge.takes[-1].hz
    offsets = knowledge.unknowns.offsets_cents(knowledge.z)
    own = None if start_hz is None else start_hz * np.exp2(-offsets / 1200)
    found = pitches_hz(knowledge.instrument, settings, start_hz=own)
    return np.asarray(found * np.exp2(offsets / 1200))
