"""Breaks that no counter tells, made in rendered takes: found where they are, and nowhere else."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.scales import DEFAULT_SCALE
from canebench.sound.live.estimator import LiveListener
from canebench.sound.synth import render
from support.conditions import recipe_for
from support.streaming import breaks_of, broken, stream_samples
from support.tones import tone

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

RATE_HZ = 48_000


def heard_breaks(samples: FloatArray) -> list[float]:
    return [frame / RATE_HZ for frame in breaks_of(samples, rate_hz=RATE_HZ)]


@pytest.mark.parametrize("twice", [False, True])
@pytest.mark.parametrize("length", [128, 370, 1_024, 2_048])
def test_a_run_left_out_or_played_twice_is_found(length: int, twice: bool) -> None:
    partials = [tone(k * 478.3, RATE_HZ, duration_s=4.0, amplitude=0.2 / k) for k in (1, 2, 3, 4, 5)]
    samples = np.sum(np.asarray(partials, dtype=np.float64), axis=0)
    assert heard_breaks(samples) == []
    cut = broken(samples, 2 * RATE_HZ, length, twice=twice)
    (found,) = heard_breaks(cut)
    assert found == pytest.approx(2.0, abs=0.1)
    # With analyses between the estimates, as on the page, the same are heard.
    assert [round(found * RATE_HZ)] == stream_samples(cut, rate_hz=RATE_HZ).breaks


def test_breaks_are_found_after_an_estimate_that_came_late() -> None:
    partials = [tone(k * 478.3, RATE_HZ, duration_s=8.0, amplitude=0.2 / k) for k in (1, 2, 3, 4, 5)]
    samples = broken(np.sum(np.asarray(partials, dtype=np.float64), axis=0), 6 * RATE_HZ, 512, twice=False)
    listener = LiveListener(rate_hz=RATE_HZ, scale=DEFAULT_SCALE)
    late = 5 * RATE_HZ
    listener.add(samples[:late], first_frame=0)
    for start in range(late, len(samples), 2_400):
        listener.estimate()
        listener.add(samples[start : start + 2_400], first_frame=start)
    assert len(listener.unseen) == 1


def test_in_takes_as_played_most_are_found_and_none_is_made_up() -> None:
    found = made = extra = 0
    for seed in range(4_010, 4_014):
        recording, _ = render(recipe_for("as-played", seed=seed))
        samples = np.asarray(recording.samples, dtype=np.float64)[: 12 * RATE_HZ]
        extra += len(heard_breaks(samples))
        chance = np.random.default_rng(seed)
        for _ in range(3):
            at = int(chance.uniform(2, 10) * RATE_HZ)
            part = broken(samples, at, int(chance.integers(128, 2_048)), twice=bool(chance.integers(2)))
            near = part[at - 2 * RATE_HZ : at + 2 * RATE_HZ]
            made += 1
            found += any(abs(one - 2.0) < 0.15 for one in heard_breaks(near))
    assert extra == 0
    assert found >= 0.5 * made


def test_changes_of_note_and_graces_are_no_breaks() -> None:
    recording, _ = render(recipe_for("alone-room", seed=4_020))
    assert heard_breaks(np.asarray(recording.samples, dtype=np.float64)) == []


def test_the_counter_tells_what_it_can() -> None:
    """Frames that the counter skips are counted as lost, at once."""
    listener = LiveListener(rate_hz=RATE_HZ, scale=DEFAULT_SCALE)
    block = np.asarray(tone(480.0, RATE_HZ, duration_s=1.0), dtype=np.float64)
    listener.add(block, first_frame=0)
    listener.add(block, first_frame=RATE_HZ + 4_800)
    estimate = listener.estimate()
    assert (estimate.breaks, estimate.lost_s) == (1, 0.1)
    assert listener.breaks == [RATE_HZ + 4_800]
