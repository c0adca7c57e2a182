"""Plan a setting: from a fitting's takes to acts in working order, each with its predicted beam."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import InputError
from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.model_response import (
    beam_of,
    deviations_cents,
    per_mm_of_seat,
    pitches,
    response_of,
)
from canebench.fitting.optimum import best_by_strips
from canebench.fitting.plan_words import out_of_reach, words
from canebench.fitting.response import OWN_NOTE
from canebench.fitting.tolerance import TOLERANCE_CENTS
from canebench.fitting.working_order import working_order

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.base.arrays import FloatArray
    from canebench.bench.acts.fitting.fitting import Fitting
    from canebench.bore.calibrate import Knowledge
    from canebench.fitting.acts import NextAct
    from canebench.fitting.balance import Deviation
    from canebench.fitting.optimum import SettingCandidate
    from canebench.fitting.response import Response

#: Tape is told to this, mm: finer than it can be cut, coarser than the model computes.
_TAPE_DECIMALS: Final = 1
_CORRECTIONS: Final = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanStep:
    """One act, the setting after it, and the beam predicted for that."""

    act: NextAct
    setting: Setting
    beam: Mapping[str, Deviation]


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """A setting that was weighed: its beam, and its worst note over tolerance (1 is the border)."""

    setting: Setting
    cents: Mapping[str, float]
    worst: float

    @property
    def strips(self) -> int:
        """How many holes it tapes."""
        return len(self.setting.tape_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The plan.

    Attributes
    ----------
    now : mapping of note to Deviation
        The beam of the last take as the fitted model sees it.
    steps : tuple of PlanStep
        Acts in working order; empty where nothing is to be done.
    chosen : Option
        The setting they lead to.
    options : tuple of Option
        The best with each number of strips, fewest first: what one strip more or less brings.
    out_of_reach : mapping of note to number
        Cents at which notes stay beyond tolerance in the best setting; empty where all come in tune.
    verdict : NextAct or None
        What to do where some are out of reach.
    tolerance_cents : mapping of note to number
        What counts as in tune.
    """

    fitting: Fitting
    knowledge: Knowledge
    now: Mapping[str, Deviation]
    steps: tuple[PlanStep, ...]
    chosen: Option
    options: tuple[Option, ...]
    out_of_reach: Mapping[str, float]
    verdict: NextAct | None
    tolerance_cents: Mapping[str, float]


def plan_setting(fitting: Fitting, *, tolerance_cents: Mapping[str, float] = TOLERANCE_CENTS) -> Plan:
    """The best setting within the fitting's limits, and the way there.

    Parameters
    ----------
    fitting : Fitting
        With at least one take, in which low A and high A were played.
    tolerance_cents : mapping of note to number
        How far off each note may be, cents > 0.

    Raises
    ------
    InputError
        Where there is no such take.
    """
    _check(fitting)
    knowledge = fitting.knowledge()
    tolerance = np.array([tolerance_cents[note] for note in NOTES])
    options = _options(fitting, knowledge, tolerance, pinches=fitting.present.pinches)
    chosen = _choice(options)
    if chosen.worst > 1 and fitting.limits.pinches_left:
        pinched = _options(fitting, knowledge, tolerance, pinches=fitting.present.pinches + 1)
        if _choice(pinched).worst < min(1.0, chosen.worst):
            options, chosen = pinched, _choice(pinched)
    moves = working_order(fitting.present, chosen.setting, new_reed=len(fitting.takes) == 1)
    prediction = knowledge.predict([fitting.present, *(move.after for move in moves)])
    beams = [beam_of(fitting, prediction, row) for row in range(len(moves) + 1)]
    rates = per_mm_of_seat(knowledge, fitting.present)
    steps = tuple(
        PlanStep(
            act=words(
                move, before=beams[i], after=beams[i + 1], per_mm=rates, hemp=fitting.hemp, measured=i == 0
            ),
            setting=move.after,
            beam=beams[i + 1],
        )
        for i, move in enumerate(moves)
    )
    beyond = {note: cents for note, cents in chosen.cents.items() if abs(cents) > tolerance_cents[note]}
    return Plan(
        fitting=fitting,
        knowledge=knowledge,
        now=beams[0],
        steps=steps,
        chosen=chosen,
        options=tuple(options),
        out_of_reach=beyond,
        verdict=out_of_reach(beyond, beams[-1], tolerance_cents, acts=len(steps)) if beyond else None,
        tolerance_cents=dict(tolerance_cents),
    )


def _check(fitting: Fitting) -> None:
    if not fitting.takes:
        raise InputError(field="fitting", given="no take", allowed="a plan starts from one take at least")
    heard = fitting.takes[-1].take.hz
    missing = [note for note in (LOW_A, HIGH_A) if not np.isfinite(heard[NOTES.index(note)])]
    if missing:
        raise InputError(
            field="take",
            given=f"no {' and no '.join(missing)}",
            allowed="the beam lies through low A and high A",
            nearest="play a slow scale with both, and measure again",
        )


def _options(fitting: Fitting, knowledge: Knowledge, tolerance: FloatArray, *, pinches: int) -> list[Option]:
    """Best settings by number of strips, each as the full model predicts it."""
    response = response_of(fitting, knowledge, pinches=pinches)
    follow = fitting.reference_hz is None
    candidates = best_by_strips(
        response, tolerance, follow_low_a=follow, most_strips=fitting.limits.most_strips
    )
    aims = np.stack([one.left_cents for one in candidates])
    tape = np.stack([one.tape_cents for one in candidates])
    for _ in range(_CORRECTIONS):
        settings = [_setting(response, one, row, pinches) for one, row in zip(candidates, tape, strict=True)]
        found = _predicted(fitting, knowledge, settings)
        # What the tables miss of two strips on one note is taken off the hole's own tape.
        tape = np.where(tape > 0, np.clip(tape + (found - aims)[:, OWN_NOTE], 1e-3, None), 0.0)
    settings = [_setting(response, one, row, pinches) for one, row in zip(candidates, tape, strict=True)]
    found = _predicted(fitting, knowledge, settings)
    return [
        Option(
            setting=setting,
            cents=dict(zip(NOTES, (float(value) for value in cents), strict=True)),
            worst=float(np.max(np.abs(cents) / tolerance)),
        )
        for setting, cents in zip(settings, found, strict=True)
    ]


def _choice(options: Sequence[Option]) -> Option:
    """The fewest strips that bring all in tune, else what comes nearest."""
    good = [option for option in options if option.worst <= 1]
    return good[0] if good else min(options, key=lambda option: option.worst)


def _setting(
    response: Response, candidate: SettingCandidate, tape_cents: FloatArray, pinches: int
) -> Setting:
    tape = {
        hole: min(
            round(response.amount_mm(i, tape_cents[i]), _TAPE_DECIMALS),
            # Rounding must not put more on than is allowed.
            math.floor(response.reach_mm[i, -1] * 10**_TAPE_DECIMALS + 1e-9) / 10**_TAPE_DECIMALS,
        )
        for i, hole in enumerate(HOLES)
        if tape_cents[i] > 0
    }
    return Setting(seat_mm=float(response.seat_mm[candidate.seat]), tape_mm=tape, pinches=pinches)


def _predicted(fitting: Fitting, knowledge: Knowledge, settings: list[Setting]) -> FloatArray:
    return deviations_cents(fitting, pitches(knowledge, settings))
