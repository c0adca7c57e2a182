"""The stated uncertainty is true: as many means lie within it as it says, in room, noise and wander."""

from __future__ import annotations

import numpy as np
import pytest

from canebench.base.uncertain import SD_TO_90
from canebench.sound.synth import Recipe, scale_notes
from support.takes import take_of, true_hz

_TAKES = 14
#: The share that a 90 % interval may hold among some 120 notes, which stray by 3 % (one sd).
_LEAST, _MOST = 0.78, 0.98


def _errors_in_sd(seed: int, *, duration_s: float, wander_cents: float, rt60_s: float | None) -> list[float]:
    """Error of each note's mean over its own stated uncertainty, for one take of nine notes at 12 kHz."""
    recipe = Recipe(
        low_a_hz=float(np.random.default_rng(seed).uniform(440, 490)),
        notes=scale_notes(duration_s=duration_s),
        seed=seed,
        rate_hz=12_000.0,
        snr_db=20.0,
        rt60_s=rt60_s,
        wander_cents=wander_cents,
    )
    take = take_of(recipe)
    return [(note.hz - true_hz(note, take.truth)) / note.sd_hz for note in take.measured.notes]


def _covered(errors_in_sd: list[float], *, stated: float = 1.0) -> float:
    """Share of the errors within the 90 % interval, were the uncertainty `stated` times what it is."""
    return float(np.mean(np.abs(errors_in_sd) <= SD_TO_90 * stated))


def _errors(first_seed: int, *, duration_s: float, wander_cents: float, rt60_s: float | None) -> list[float]:
    found = [
        error
        for seed in range(first_seed, first_seed + _TAKES)
        for error in _errors_in_sd(seed, duration_s=duration_s, wander_cents=wander_cents, rt60_s=rt60_s)
    ]
    assert len(found) >= 60
    return found


@pytest.mark.parametrize(
    ("first_seed", "duration_s", "wander_cents"),
    [(5_901, 2.0, 3.0), (5_921, 2.0, 0.0), (5_941, 1.0, 0.0)],
    ids=["two seconds, wandering", "two seconds, steady", "one second, steady"],
)
def test_a_ninety_percent_interval_holds_nine_in_ten(
    first_seed: int, duration_s: float, wander_cents: float
) -> None:
    """Notes in a room with noise. Control: a quarter of the uncertainty holds far too few."""
    errors = _errors(first_seed, duration_s=duration_s, wander_cents=wander_cents, rt60_s=0.6)
    assert _LEAST <= _covered(errors) <= _MOST
    assert _covered(errors, stated=0.25) < _LEAST


def test_without_a_room_it_holds_at_least_as_many() -> None:
    """Noise alone: the part for what a room does is then too wide, never too narrow."""
    errors = _errors(5_961, duration_s=1.0, wander_cents=0.0, rt60_s=None)
    assert _covered(errors) >= 0.9
    assert _covered(errors, stated=0.25) < _LEAST
    # Not so wide that it says nothing: half of it would still be too narrow for some.
    assert _covered(errors, stated=0.125) < 0.5
