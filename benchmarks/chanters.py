"""Calibration on chanters whose truth is not the model's: intervals for single acts, and the learning curve.

Every chanter is measured at one setting; the 90 % intervals of what a seat move or a strip of tape will do
are held against the truth. Then acts and takes follow in pairs, and the predicted pitch of settings that were
never tried is held against the truth after each. Run by `benchmarks/run`.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.errors import CanebenchError
from canebench.base.fingering import HOLES, notes_through
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.base.uncertain import SD_TO_90
from canebench.bore.calibrate import calibrate
from canebench.bore.resonance import NoResonanceError
from support.true_chanters import UNKNOWNS, true_chanter

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray
    from canebench.bore.calibrate import Knowledge, Take
    from support.true_chanters import TrueChanter

_SEATS_MM = (-1.0, -0.5, 0.5, 1.0)
_SILENT = "without a resonance for a note"
_FAILED = "fit failed"
_STRIP_MM = 1.5
_HALF_SHARE = 0.4
#: Acts of a first hour: the seat, the posts' tape, and back.
_ACTS = (
    Setting(seat_mm=1.0),
    Setting(seat_mm=1.0, tape_mm={"low A": 1.5, "E": 1.5}),
    Setting(seat_mm=-0.5, tape_mm={"C": 1.5}),
    Setting(seat_mm=0.5, tape_mm={"F": 2.0, "B": 1.5}),
)
_TRIED = tuple(
    Setting(seat_mm=seat, tape_mm=tape)
    for seat in (-1.5, -0.75, 0.75, 1.5)
    for tape in ({}, {"low A": 1.5, "C": 2.0}, {"E": 1.8, "B": 1.5, "F": 1.2})
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One chanter: whether each interval held, by kind of act, and errors after 0, 1, 2... pairs, cents.

    `doubted` says after how many of these fits the takes were doubted, wrongly.
    """

    seat_held: FloatArray
    tape_held: FloatArray
    errors_cents: FloatArray
    doubted: int


def outcome(seed: int) -> Outcome | str:
    """Measure, predict, look; act, measure, predict, look. What failed, if anything did."""
    rng = np.random.default_rng(seed)
    try:
        true = true_chanter(rng)
        takes = [true.take(setting, rng) for setting in (Setting(), *_ACTS)]
        truth = true.hz(_TRIED)
    except NoResonanceError:
        return _SILENT
    try:
        return _looked(true, takes, truth)
    except CanebenchError:
        return _FAILED


def _looked(true: TrueChanter, takes: Sequence[Take], truth: FloatArray) -> Outcome:
    fits = [calibrate(UNKNOWNS, takes[: count + 1]) for count in range(len(takes))]
    seat_held, tape_held = _held(true, fits[0])
    errors = [np.abs(1200 * np.log2(fit.predict(_TRIED).hz / truth)).ravel() for fit in fits]
    return Outcome(
        seat_held=seat_held,
        tape_held=tape_held,
        errors_cents=np.array(errors),
        doubted=sum(fit.doubtful for fit in fits),
    )


def _held(true: TrueChanter, known: Knowledge) -> tuple[FloatArray, FloatArray]:
    """Whether the 90 % intervals hold the true effects: seat moves on all notes, tape where it reaches."""
    wide = [hole.diameter_mm for hole in true.instrument.chanter.holes]
    seats = [Setting(seat_mm=seat) for seat in _SEATS_MM]
    strips = [
        (hole, Setting(tape_mm={hole: covered}))
        for i, hole in enumerate(HOLES)
        for covered in (_STRIP_MM, _HALF_SHARE * wide[i])
    ]
    settings = [Setting(), *seats, *(setting for _, setting in strips)]
    truth = true.hz(settings)
    prediction = known.predict(settings)
    held = []
    for row in range(1, len(settings)):
        moved, sd = prediction.effect(0, row)
        really = 1200 * np.log2(truth[row] / truth[0])
        held.append(np.abs(moved - really) <= SD_TO_90 * sd)
    seat_held = np.array(held[: len(seats)]).ravel()
    tape_held = [
        kept[[NOTES.index(note) for note in notes_through(hole)]]
        for (hole, _), kept in zip(strips, held[len(seats) :], strict=True)
    ]
    return seat_held, np.concatenate(tape_held)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--chanters", type=int, default=200)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--plot", type=Path, help="draw the learning curve into this SVG")
    arguments = parser.parse_args()
    seeds = range(arguments.first, arguments.first + arguments.chanters)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        everything = list(pool.map(outcome, seeds, chunksize=4))
    found = [one for one in everything if isinstance(one, Outcome)]
    _report("chanters, one scale and four acts each", f"{len(found)} of {len(everything)} fitted", "-")
    for failure, asked in ((_SILENT, "-"), (_FAILED, "none")):
        _report(f"chanters: {failure}", f"{everything.count(failure)}", asked)
    fits = (len(_ACTS) + 1) * len(found)
    _report("right takes doubted", f"{sum(one.doubted for one in found)} of {fits} fits", "-")
    _print_intervals(found)
    errors = np.stack([one.errors_cents for one in found])
    _print_learning(errors)
    if arguments.plot is not None:
        draw(errors, arguments.plot)


def _print_intervals(found: Sequence[Outcome]) -> None:
    seat = np.concatenate([one.seat_held for one in found])
    tape = np.concatenate([one.tape_held for one in found])
    for name, held in (("a seat move", seat), ("a strip of tape", tape), ("both", np.append(seat, tape))):
        _report(f"90 % interval, {name}", f"holds {held.mean():.1%} of {held.size}", "85 to 95 %")


def _print_learning(errors: FloatArray) -> None:
    """Errors (chanters, pairs, predictions) after each number of pairs."""
    first = np.median(errors[:, 0])
    for pairs in range(errors.shape[1]):
        of_this = errors[:, pairs]
        tail = np.percentile(of_this, 90)
        _report(
            f"error after {pairs} pair{'' if pairs == 1 else 's'}",
            f"median {np.median(of_this):.2f}, mean {of_this.mean():.2f}, 90 % below {tail:.2f} cents",
            f"median halved (is {np.median(of_this) / first:.2f} of the first)" if pairs == 2 else "-",
        )


def _report(what: str, figure: str, asked: str) -> None:
    print(f"{what:44s} {figure:48s} asked: {asked}", flush=True)


def draw(errors: FloatArray, path: Path) -> None:
    """The learning curve: median over chanters, notes and settings, with the band from 10 to 90 %."""
    import matplotlib as mpl  # noqa: PLC0415 - only where a picture is wanted

    mpl.use("svg")
    mpl.rcParams.update({"svg.hashsalt": "canebench", "svg.fonttype": "none", "font.size": 12})
    from matplotlib import pyplot as plt  # noqa: PLC0415

    pairs = np.arange(errors.shape[1])
    low, middle, high = (np.percentile(errors, level, axis=(0, 2)) for level in (10, 50, 90))
    figure, axes = plt.subplots(figsize=(7.2, 4.2))
    axes.fill_between(pairs, low, high, color="0.88", label="from 10 to 90 % of predictions")
    axes.plot(pairs, middle, color="#0072B2", marker="s", linewidth=2.5, label="median")
    for x, y in zip(pairs, middle, strict=True):
        axes.annotate(f"{y:.2f}", (x, y), textcoords="offset points", xytext=(6, 8))
    axes.set_xticks(pairs, ["one scale", *(f"{pair} pair{'s' if pair > 1 else ''}" for pair in pairs[1:])])
    axes.set_ylabel("error of a predicted pitch, cents")
    axes.set_xlabel("measured before and after so many acts")
    axes.set_ylim(0, None)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(frameon=False)
    figure.tight_layout()
    figure.savefig(path, format="svg", metadata={"Date": None})


if __name__ == "__main__":
    main()
