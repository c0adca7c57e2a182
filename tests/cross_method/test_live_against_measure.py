"""What the live listener shows beside what the measurement of the same take says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.units import hz_to_cents
from canebench.sound.analysis.measure import measure
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from support.conditions import recipe_for
from support.noises import speech
from support.streaming import Streamed, stream, stream_samples

if TYPE_CHECKING:
    from canebench.sound.files.recording import Recording
    from canebench.sound.synth import Truth

_TAKES = ["alone-wander", "as-played", "as-played-in-tune", "as-played-loud-drones"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Take:
    """A take of a condition, its truth, and what was seen while it came in."""

    condition: str
    recording: Recording
    truth: Truth
    seen: Streamed


@pytest.fixture(scope="module", params=_TAKES)
def take(request: pytest.FixtureRequest) -> _Take:
    recording, truth = render(recipe_for(request.param, seed=4_001))
    return _Take(condition=request.param, recording=recording, truth=truth, seen=stream(recording))


def test_the_beam_so_far_is_that_of_the_measurement(take: _Take) -> None:
    seen = take.seen
    measured = {note.note: note.hz for note in measure(take.recording).notes}
    assert seen.so_far is not None
    live = {note.note: note.hz for note in seen.so_far.notes}
    assert set(live) == set(measured)
    off = np.abs([hz_to_cents(live[note], measured[note]) for note in measured])
    assert np.median(off) < (0.5 if "alone" in take.condition else 1.0)
    assert np.max(off) < 5.0


def test_what_sounds_now_is_what_is_played(take: _Take) -> None:
    """Named estimates, once the drones are known: the note that is played, but for a few at its edges."""
    seen, truth = take.seen, take.truth
    hits = misses = 0
    for estimate in seen.estimates:
        if estimate.sounding is None or estimate.sounding.note is None:
            continue
        # The newest eight frames are centred on these.
        true_hz = truth.chanter_hz(estimate.at_s - 0.20, estimate.at_s - 0.05)
        near = np.isfinite(true_hz) and abs(hz_to_cents(estimate.sounding.hz, true_hz)) < 15
        hits, misses = hits + near, misses + (not near)
    assert hits > 0.6 * len(seen.estimates)
    assert misses < 0.03 * hits


def test_no_break_is_heard_where_there_is_none(take: _Take) -> None:
    assert take.seen.breaks == []


def test_drones_alone_are_no_note() -> None:
    plan = DronePlan(tenor_cents=(2.0, -1.5), wander_cents=0.5)
    recipe = Recipe(low_a_hz=470.0, notes=scale_notes("low A"), seed=1, drones=plan, lead_s=8.0, snr_db=25.0)
    samples = np.asarray(render(recipe)[0].samples, dtype=np.float64)[: round(7.9 * 48_000)]
    seen = stream_samples(samples, rate_hz=48_000.0)
    assert [estimate for estimate in seen.estimates if estimate.sounding is not None] == []
    assert seen.so_far is None


@pytest.mark.parametrize("what", ["silence", "noise", "talk"])
def test_nothing_is_heard_in_nothing(what: str) -> None:
    noise = 0.1 * np.random.default_rng(3).normal(size=5 * 48_000)
    samples = {"silence": np.zeros(len(noise)), "noise": noise, "talk": speech(48_000.0, 8.0, seed=1)}[what]
    seen = stream_samples(samples, rate_hz=48_000.0)
    assert [estimate for estimate in seen.estimates if estimate.sounding is not None] == []
    assert seen.so_far is None


@pytest.mark.parametrize("overdriven", [False, True])
def test_what_is_done_to_the_sound_is_remarked(overdriven: bool) -> None:
    samples = np.asarray(render(recipe_for("as-played", seed=4_002))[0].samples, dtype=np.float64)
    if overdriven:
        samples = np.tanh(4 * samples / np.max(np.abs(samples)))
    seen = stream_samples(samples[: 10 * 48_000], rate_hz=48_000.0)
    codes = [remark.code for remark in seen.estimates[-1].remarks]
    assert codes == (["non-linear"] if overdriven else [])
