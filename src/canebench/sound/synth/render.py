"""From a recipe to samples and their truth. Guarded by `tests/analytic/test_synth.py`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.files.recording import Recording
from canebench.sound.synth.chanter import piped_chanter
from canebench.sound.synth.drones import piped_drones
from canebench.sound.synth.noise import pink
from canebench.sound.synth.playing.bag import bag_of
from canebench.sound.synth.playing.score import score, sounding
from canebench.sound.synth.playing.textbook import textbook_chanter, textbook_drones
from canebench.sound.synth.room import room
from canebench.sound.synth.truth import Truth

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.synth.playing.bag import Bag
    from canebench.sound.synth.recipe import DronePlan, Recipe
    from canebench.sound.synth.truth import Event

_PEAK = 0.7


def render(recipe: Recipe) -> tuple[Recording, Truth]:
    """Render `recipe`: the recording and its truth. The seed fixes every random choice.

    Parameters
    ----------
    recipe : Recipe
        What is played, in which room and noise, and the seed.

    Returns
    -------
    recording : Recording
        One channel at the recipe's rate, its peak at 0.7 of full scale.
    truth : Truth
        What was rendered, sample by sample: the same recipe gives the same of both.

    Guarded by `tests/analytic/test_synth.py`.
    """
    rng = np.random.default_rng(recipe.seed)
    events, holds = score(recipe, rng)
    count = round(events[-1].end_s * recipe.rate_hz)
    bag = None if recipe.behaviour is None else bag_of(recipe.behaviour, events[-1].end_s, rng)
    chanter, cycles = _chanter(recipe, events, holds, bag, rng)
    place = room(recipe, rng)
    chanter = place(chanter)
    # Level and noise refer to the time that the chanter sounds, not to its pauses.
    power = float(np.mean(chanter**2)) * count / max(1, sounding(recipe, events))
    mix = chanter
    drone_cycles: dict[str, FloatArray] = {}
    if recipe.drones is not None:
        drones, drone_cycles = _drones(recipe, recipe.drones, bag, count, rng)
        mix = chanter + np.sqrt(power) * 10 ** (recipe.drones.level_db / 20) * place(drones)
    if recipe.snr_db is not None:
        mix = mix + np.sqrt(power) * 10 ** (-recipe.snr_db / 20) * pink(count, recipe.rate_hz, rng)
    samples = (_PEAK / np.max(np.abs(mix)) * mix).astype(np.float32)
    truth = Truth(
        rate_hz=recipe.rate_hz, events=tuple(events), chanter_cycles=cycles, drone_cycles=drone_cycles
    )
    return Recording(samples=samples, rate_hz=recipe.rate_hz, origin=f"synth, seed {recipe.seed}"), truth


def _chanter(
    recipe: Recipe, events: list[Event], holds: list[float], bag: Bag | None, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    if recipe.behaviour is None or bag is None:
        count = round(events[-1].end_s * recipe.rate_hz)
        return textbook_chanter(recipe, events, holds, count, rng)
    return piped_chanter(recipe, events, holds, bag, recipe.behaviour, rng)


def _drones(
    recipe: Recipe, plan: DronePlan, bag: Bag | None, count: int, rng: np.random.Generator
) -> tuple[FloatArray, dict[str, FloatArray]]:
    if recipe.behaviour is None or bag is None:
        return textbook_drones(recipe, plan, count, rng)
    return piped_drones(recipe, plan, bag, recipe.behaviour, rng)
