"""Held notes of one analysis joined to those of the analyses before it, which overlap it.

Guarded by `tests/cross_method/test_live_against_measure.py`.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np

from canebench.base.units import hz_to_cents
from canebench.sound.analysis.section import Course

_SAME_CENTS: Final = 20.0


def merged(before: list[Course], new: list[Course]) -> list[Course]:
    """Held notes in time order; where the first new one goes on with one from before, they are one.

    The new analysis knows better where the two overlap, so the one from before counts up to there.
    """
    if not new:
        return before
    first, *others = new
    start_s = first.held.start_s
    kept = [one for one in before if one.held.end_s <= start_s]
    for cut in before:
        same = abs(hz_to_cents(cut.held.hz, first.held.hz)) < _SAME_CENTS
        if cut.held.start_s < start_s < cut.held.end_s and same:
            first = _joined(cut, first)
    return [*kept, first, *others]


def _joined(cut: Course, first: Course) -> Course:
    old, new = cut.held, first.held
    share = (new.start_s - old.start_s) / (new.end_s - old.start_s)
    before_hz = cut.mean_hz(new.start_s)
    step = hz_to_cents(before_hz, new.hz)
    held = replace(
        new,
        start_s=old.start_s,
        hz=share * before_hz + (1 - share) * new.hz,
        sd_hz=math.hypot(share * old.sd_hz, (1 - share) * new.sd_hz),
        spread_cents=math.sqrt(
            share * old.spread_cents**2 + (1 - share) * new.spread_cents**2 + share * (1 - share) * step**2
        ),
        drift_cents_per_s=share * old.drift_cents_per_s + (1 - share) * new.drift_cents_per_s,
    )
    earlier = cut.times_s < new.start_s
    # The phase goes on from where the earlier part had come to.
    offset = float(np.interp(new.start_s, cut.times_s, cut.cycles)) - float(first.cycles[0])
    return Course(
        held=held,
        times_s=np.concatenate([cut.times_s[earlier], first.times_s]),
        cycles=np.concatenate([cut.cycles[earlier], first.cycles + offset]),
    )
