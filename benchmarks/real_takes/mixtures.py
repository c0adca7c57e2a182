"""Random mixtures of real and rendered sound: nothing may end in a traceback, nothing may be made up.

Pieces are cut at random from long stretches of each kind, laid over each other at random levels, clipped,
offset or turned down, at a random sample rate. Where no chanter is among them, no note may be named.
"""

from __future__ import annotations

import traceback
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.signal import resample_poly

from canebench.sound.analysis.measure import measure
from canebench.sound.files.recording import Recording
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from real_takes.spoiling import wind_of
from real_takes.takes import source_near, take_of
from real_takes.voices import RATE_HZ, note_voice
from support.noises import speech

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from canebench.base.arrays import FloatArray
    from real_takes.sources import Instrument

_STRETCHES: Final = 6
_LENGTH_S: Final = (0.4, 9.0)
_LEVELS_DB: Final = 12.0
#: Numerators over 441 of the rates: 22.05, 44.1 and 48 kHz.
_RATES: Final = ((1, 2), (1, 1), (160, 147))
#: What a mixture is made of: kinds of sound, and whether a chanter is among them.
RECIPES: Final[dict[str, tuple[tuple[str, ...], bool]]] = {
    "drones only": (("drones",), False),
    "talk": (("talk",), False),
    "wind": (("wind",), False),
    "music": (("music",), False),
    "drones and talk": (("drones", "talk"), False),
    "drones and wind": (("drones", "wind"), False),
    "chanter, drones, talk and wind": (("chanter", "drones", "talk", "wind"), True),
    "chanter and anything": (("chanter", "drones", "talk", "wind", "music"), True),
    "rendered and real": (("rendered", "chanter", "drones"), True),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MixtureScore:
    """One mixture: its seed and recipe, notes named in it, and the last line of a traceback."""

    seed: int
    recipe: str
    notes: tuple[str, ...]
    error: str | None


def stretches_of(instruments: Sequence[Instrument]) -> dict[str, list[FloatArray]]:
    """Long stretches of every kind of sound, each at an RMS of one."""
    found: dict[str, list[FloatArray]] = {
        kind: [] for kind in ("chanter", "drones", "talk", "wind", "music", "rendered")
    }
    for seed in range(_STRETCHES):
        take = take_of(seed, instruments, "scale", "in-tune" if seed % 3 == 0 else "apart")
        rng = np.random.default_rng([seed, 5])
        found["chanter"].append(take.chanter)
        found["drones"].append(take.drones)
        found["talk"].append(speech(RATE_HZ, 20.0, seed=seed))
        found["wind"].append(wind_of(len(take.chanter), rng))
        found["music"].append(_chords(instruments, rng))
        recipe = Recipe(
            low_a_hz=float(rng.uniform(430, 500)),
            notes=scale_notes(duration_s=2.0),
            seed=seed,
            rate_hz=RATE_HZ,
            drones=DronePlan() if seed % 2 else None,
        )
        found["rendered"].append(np.asarray(render(recipe)[0].samples, dtype=float))
    return {kind: [one / np.sqrt(np.mean(one**2)) for one in ones] for kind, ones in found.items()}


def _chords(instruments: Sequence[Instrument], rng: np.random.Generator) -> FloatArray:
    """Three voices at a time, a chord every second, on tempered pitches."""
    notes = [note for one in instruments for note in one.notes]
    whole = np.zeros(round(20 * RATE_HZ))
    for second in range(19):
        for _ in range(3):
            hz = 440.0 * 2 ** (int(rng.integers(-17, 10)) / 12)
            voice = note_voice(source_near(notes, hz, rng), hz, float(rng.uniform(0.5, 1.2)), rng)
            start = round((second + 0.05) * RATE_HZ)
            part = voice.samples[: len(whole) - start] * np.hanning(len(voice.samples))[: len(whole) - start]
            whole[start : start + len(part)] += part / np.sqrt(np.mean(part**2))
    return whole


def score_mixtures(seeds: Iterable[int], stretches: dict[str, list[FloatArray]]) -> list[MixtureScore]:
    """One mixture a seed."""
    return [_score(seed, stretches) for seed in seeds]


def _score(seed: int, stretches: dict[str, list[FloatArray]]) -> MixtureScore:
    rng = np.random.default_rng([seed, 99])
    recipe = list(RECIPES)[seed % len(RECIPES)]
    recording = _mixed(RECIPES[recipe][0], stretches, rng)
    notes: tuple[str, ...] = ()
    error = None
    try:
        notes = tuple(note.note for note in measure(recording).notes)
    except Exception:  # noqa: BLE001 - whatever comes is what is looked for
        error = traceback.format_exc().splitlines()[-1]
    return MixtureScore(seed=seed, recipe=recipe, notes=notes, error=error)


def _mixed(
    kinds: Sequence[str], stretches: dict[str, list[FloatArray]], rng: np.random.Generator
) -> Recording:
    count = round(rng.uniform(*_LENGTH_S) * RATE_HZ)
    whole = np.zeros(count)
    for kind in kinds:
        source = stretches[kind][int(rng.integers(len(stretches[kind])))]
        size = min(count, int(rng.uniform(0.3, 1.0) * count) if len(kinds) > 1 else count, len(source))
        start, place = int(rng.integers(len(source) - size + 1)), int(rng.integers(count - size + 1))
        whole[place : place + size] += 10 ** (rng.uniform(-_LEVELS_DB, 0) / 20) * source[start : start + size]
    up, down = _RATES[int(rng.integers(len(_RATES)))]
    whole = np.asarray(resample_poly(whole, up, down))
    whole *= 10 ** (rng.uniform(-50, 6) / 20) / (np.max(np.abs(whole)) + 1e-9)
    whole = np.clip(whole + rng.uniform(-0.02, 0.02), -1, 1)
    return Recording(samples=whole.astype(np.float32), rate_hz=RATE_HZ * up / down, origin="mixture")


def print_mixtures(scores: Sequence[MixtureScore]) -> None:
    """A line for each recipe, then every mixture with a note made up, and every error."""
    print("\nrandom mixtures: notes named where no chanter is (asked 0), tracebacks (asked 0)")
    for recipe, (_, has_chanter) in RECIPES.items():
        own = [score for score in scores if score.recipe == recipe]
        named = sum(bool(score.notes) for score in own)
        said = f"{named} with a note named" if not has_chanter else f"{named} with notes"
        failed = sum(score.error is not None for score in own)
        print(f"    {recipe:30s} {len(own):6d}  {said:28s} {failed} tracebacks")
    for score in scores:
        if score.notes and not RECIPES[score.recipe][1]:
            print(f"    {score.recipe}, seed {score.seed}: {', '.join(score.notes)}")
    for error, count in Counter(score.error for score in scores if score.error is not None).most_common():
        print(f"    {count} x {error}")
