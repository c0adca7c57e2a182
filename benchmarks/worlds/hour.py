"""An hour at the bench: takes, advice and hands in turn, with the truth looked at beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, NOTES
from canebench.base.setting import Setting
from canebench.base.uncertain import SD_TO_90
from canebench.bench.acts.fitting.fitting import Fitting
from canebench.fitting.tolerance import TOLERANCE_CENTS
from worlds.advice import with_take
from worlds.world import LOW_A_AT, OWN_NOTES, TARGETS_HZ, Standing, cents_at, heard_cents

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import BoolArray, FloatArray
    from worlds.advice import Advice, AdvisedAct
    from worlds.pipers import Piper
    from worlds.world import World

ROUNDS: Final = 4
TOLERANCE: Final = np.array([TOLERANCE_CENTS[note] for note in NOTES])
_HIGH_A_AT: Final = NOTES.index(HIGH_A)
_TAKE_MIN: Final = 4.0
_ACT_MIN: Final = 2.0
#: So many takes may be asked for beyond those that follow acts.
_AGAIN: Final = 3
_MOVED_MM: Final = 0.01
#: A reading is surely beyond its tolerance where it is by so many standard uncertainties.
_SURELY: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """One take, what was said, and what came of it.

    `acts` were offered and `done` of them were done; `in_tune` is the truth at the take by the command's
    tolerances, over the notes heard so far. `worst_before` and `worst_after`, cents, and `spoilt` compare the
    setting left with the one come to at one and the same minute, so that the hour itself is not laid at the
    act's door. `held` of `predicted` 90 % intervals were right. `seat_mm` and `tape_mm` are the moves done,
    as told. `opposite` names acts against the newest take.
    """

    kind: str
    set_aside: bool
    acts: int
    done: int
    milliseconds: float
    in_tune: bool
    worst_before: float
    worst_after: float
    spoilt: bool
    seat_mm: float
    tape_mm: tuple[float, ...]
    held: int
    predicted: int
    opposite: tuple[str, ...]

    @property
    def moved(self) -> bool:
        """Whether an act was asked for."""
        return self.kind == "acts"


def fitting_hour(
    world: World,
    piper: Piper,
    start: Standing,
    rng: np.random.Generator,
    *,
    adviser: Callable[[Fitting, float], Advice],
    most_acts: int,
    rounds: int = ROUNDS,
) -> list[Round]:
    """Rounds of acts, and the advice of the take after them, or until it is said to be done or given up.

    A take that is asked for again is no round, but there is an end to it.
    """
    told = Setting(tape_mm={hole: float(start.tape_mm[i]) for i, hole in enumerate(HOLES)})
    fitting, standing, minute = Fitting(), start, 0.0
    ever = np.zeros(len(NOTES), dtype=bool)
    found: list[Round] = []
    for _ in range(rounds + 1 + _AGAIN):
        acted = sum(one.done > 0 for one in found)
        minute += _TAKE_MIN
        hz, sd = piper.hears(world, standing, minute, rng)
        if not np.isfinite(hz[LOW_A_AT]):
            # Without low A there is nothing to count from: the piper plays it again.
            hz, sd = replace(piper, slips=0.0).hears(world, standing, minute, rng)
        fitting = with_take(fitting, told, hz, sd)
        ever |= np.isfinite(hz)
        advice = adviser(fitting, minute)
        done = advice.acts[:most_acts] if acted < rounds else ()
        before, was = standing, told
        asked = heard_cents(cents_at(world, standing, minute))
        minute += _ACT_MIN * len(done)
        standing, told = piper.does_all(world, standing, told, [act.setting for act in done], rng)
        found.append(
            _round(
                advice,
                done,
                truth=_Truths(
                    asked=asked,
                    before=heard_cents(cents_at(world, before, minute)),
                    after=heard_cents(cents_at(world, standing, minute)),
                ),
                heard=ever,
                opposite=against_take(was, advice.acts[:most_acts], hz, sd),
                moves=_moves(was, done),
            )
        )
        if advice.kind not in ("acts", "ask") or acted == rounds:
            break
    return found


def in_tune(heard: FloatArray, ever: BoolArray) -> bool:
    """Whether all notes heard so far are within the command's tolerances."""
    return bool(np.all(np.abs(heard)[ever] <= TOLERANCE[ever]))


def against_take(
    was: Setting, acts: tuple[AdvisedAct, ...], hz: FloatArray, sd_cents: FloatArray
) -> tuple[str, ...]:
    """Which acts are the opposite of what was just measured: "octave", "flat" or "unheard"."""
    if not acts:
        return ()
    cents = heard_cents(1200 * np.log2(hz / TARGETS_HZ))
    sd = np.hypot(sd_cents, sd_cents[LOW_A_AT])
    surely = np.abs(cents) > np.maximum(TOLERANCE, _SURELY * sd)
    seat = acts[-1].setting.seat_mm - was.seat_mm
    tape = _tape(acts[-1].setting) - _tape(was)
    found = []
    if surely[_HIGH_A_AT] and abs(seat) > _MOVED_MM and seat * cents[_HIGH_A_AT] > 0:
        found.append("octave")
    more = tape > _MOVED_MM
    # Tape on a flat note is no contradiction where the seat, or tape on low A, raises the note as well.
    alone = abs(seat) <= _MOVED_MM and not more[-1]
    if alone and np.any(more & surely[OWN_NOTES] & (cents[OWN_NOTES] < 0)):
        found.append("flat")
    if np.any(more & ~np.isfinite(hz[OWN_NOTES])):
        found.append("unheard")
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Truths:
    """Cents (9,) when the take was played, and of the old and the new setting when the acts were done."""

    asked: FloatArray
    before: FloatArray
    after: FloatArray


def _round(
    advice: Advice,
    done: tuple[AdvisedAct, ...],
    *,
    truth: _Truths,
    heard: BoolArray,
    opposite: tuple[str, ...],
    moves: tuple[float, FloatArray],
) -> Round:
    held = predicted = 0
    if done:
        # Low A against itself is no prediction.
        others = heard & (np.arange(len(NOTES)) != LOW_A_AT)
        off = np.abs(truth.after - done[-1].cents)
        held = int(np.count_nonzero(off[others] <= SD_TO_90 * done[-1].sd_cents[others]))
        predicted = int(np.count_nonzero(others))
    return Round(
        kind=advice.kind,
        set_aside=advice.set_aside,
        acts=len(advice.acts),
        done=len(done),
        milliseconds=advice.milliseconds,
        in_tune=in_tune(truth.asked, heard),
        worst_before=float(np.abs(truth.before[heard]).max()),
        worst_after=float(np.abs(truth.after[heard]).max()),
        spoilt=in_tune(truth.before, heard) and not in_tune(truth.after, heard),
        seat_mm=moves[0],
        tape_mm=tuple(float(one) for one in moves[1]),
        held=held,
        predicted=predicted,
        opposite=opposite,
    )


def _moves(was: Setting, done: tuple[AdvisedAct, ...]) -> tuple[float, FloatArray]:
    if not done:
        return 0.0, np.zeros(len(HOLES))
    end = done[-1].setting
    return end.seat_mm - was.seat_mm, _tape(end) - _tape(was)


def _tape(setting: Setting) -> FloatArray:
    return np.array([setting.tape_mm.get(hole, 0.0) for hole in HOLES])
