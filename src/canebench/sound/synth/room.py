"""A room of exponentially decaying noise (RT60). Guarded by `tests/analytic/test_synth.py`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.synth.playing.courses import fast_size

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import FloatArray
    from canebench.sound.synth.recipe import Recipe


def room(recipe: Recipe, rng: np.random.Generator) -> Callable[[FloatArray], FloatArray]:
    """A function that adds a room to a signal; each call is another place in the same room."""
    if recipe.rt60_s is None:
        return lambda signal: signal
    length = round(1.2 * recipe.rt60_s * recipe.rate_hz)
    decay = 10 ** (-3.0 * np.arange(length) / (recipe.rt60_s * recipe.rate_hz))

    def place(signal: FloatArray) -> FloatArray:
        tail = rng.standard_normal(length) * decay
        tail *= 10 ** (-recipe.direct_db / 20) / np.sqrt(np.sum(tail**2))
        tail[0] += 1.0
        size = fast_size(len(signal) + length)
        spectrum = np.fft.rfft(signal, size) * np.fft.rfft(tail, size)
        return np.asarray(np.fft.irfft(spectrum, size)[: len(signal)])

    return place
