"""The same stream in blocks of any length gives the same estimates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.sound.dsp.decimation import sections
from canebench.sound.dsp.stft import frames_of
from canebench.sound.files.recording import Recording
from canebench.sound.live.ring_buffer import KEPT_S, Incoming
from canebench.sound.synth import render
from support.conditions import recipe_for
from support.streaming import Streamed, stream_samples

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

_BLOCK = 2_400


@pytest.fixture(scope="module")
def samples() -> FloatArray:
    recording, _ = render(recipe_for("as-played", seed=4_030))
    return np.asarray(recording.samples, dtype=np.float64)[: 6 * 48_000]


@pytest.fixture(scope="module")
def plain(samples: FloatArray) -> Streamed:
    """What all others are held against."""
    return stream_samples(samples, rate_hz=48_000.0, block=_BLOCK)


@pytest.mark.parametrize("block", [128, 1_000, 4_801])
def test_estimates_do_not_depend_on_blocks(samples: FloatArray, plain: Streamed, block: int) -> None:
    other = stream_samples(samples, rate_hz=48_000.0, block=block)
    assert plain.estimates == other.estimates
    assert plain.so_far is not None
    assert plain.so_far == other.so_far


@pytest.mark.parametrize("rate_hz", [8_000.0, 16_000.0, 44_100.0, 48_000.0, 96_000.0])
def test_the_stream_is_decimated_as_a_recording_is(rate_hz: float) -> None:
    samples = np.random.default_rng(1).normal(0, 0.1, round(2.5 * rate_hz)).astype(np.float32)
    whole = next(iter(sections(Recording(samples=samples, rate_hz=rate_hz, origin="noise"))))
    incoming = Incoming(rate_hz)
    for start in range(0, len(samples), 777):
        incoming.add(samples[start : start + 777].astype(np.float64))
    section = incoming.section()
    assert section.rate_hz == whole.rate_hz
    assert section.duration_s <= KEPT_S
    assert section.start_s == 0.0
    # The filter's reach from the start apart, where it shows that each takes out the offset of what it has.
    same = slice(44, len(section.signal))
    assert np.max(np.abs(section.signal[same] - whole.signal[same])) < 2e-6
    frames = frames_of(section)
    newest = incoming.newest(5)
    assert newest is not None
    assert newest.hop_s == frames.hop_s
    at = round((newest.start_s - frames.start_s) / frames.hop_s)
    # The two lowest bins hold the offset, which a frame by itself keeps.
    assert np.allclose(newest.spectrum[:, 2:], frames.spectrum[at : at + 5, 2:], atol=1e-9)


def test_memory_stays_bounded() -> None:
    incoming = Incoming(48_000.0)
    for _ in range(600):
        incoming.add(np.zeros(4_800))
    assert len(incoming.section().signal) <= KEPT_S * incoming.rate_hz
    assert incoming.newest(500) is None
    assert incoming.now_s == pytest.approx(60.0, abs=0.1)
