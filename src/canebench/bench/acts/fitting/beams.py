"""Beams and rates that a fitting's belief comes to. Guarded by `tests/doors/test_plan_command.py`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.uncertain import Uncertain
from canebench.fitting.balance import Deviation
from canebench.fitting.sizing import deviations

if TYPE_CHECKING:
    from canebench.base.setting import Setting
    from canebench.bench.acts.fitting.fitting import Fitting
    from canebench.fitting.belief import Belief


def beam_at(fitting: Fitting, belief: Belief, setting: Setting) -> dict[str, Deviation]:
    """The beam that is believed for a setting: each note's deviation with its uncertainty."""
    cents, covariance = belief.predict([setting])
    mean, variance = deviations(cents, covariance, follow_low_a=fitting.follow_low_a)
    return {
        note: Deviation(
            cents=float(mean[0, i]),
            sd_cents=float(np.sqrt(variance[0, i])),
            interval_cents=fitting.scale.cents(note),
        )
        for i, note in enumerate(NOTES)
    }


def rates_of(belief: Belief, setting: Setting) -> dict[str, Uncertain]:
    """Cents of each note for a millimetre of deeper seat, about this setting."""
    cents, sd = belief.seat_per_mm(setting.seat_mm)
    return {note: Uncertain(value=float(cents[i]), sd=float(sd[i])) for i, note in enumerate(NOTES)}


def common_sd_cents(belief: Belief, setting: Setting) -> float:
    """How unsure all notes are together in a setting, cents: no single note can be surer on a fixed pitch."""
    covariance = belief.predict([setting])[1][0]
    return float(np.sqrt(max(0.0, np.min(covariance))))
