"""Three estimators that others wrote hear the same chanter as we do, each to within its own known error.

They are told the chanter's range and the spans that we averaged, and get the chanter alone, the one task
they are good at. Their errors over 72 such notes were measured once (median / 95th percentile, cents):
YIN 0.18 / 0.71, probabilistic YIN at a fiftieth of a semitone 0.56 / 1.13, autocorrelation 0.026 / 0.090.
The gates are twice the 95th percentile for the worst note, and the 95th percentile for the median.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import librosa
import numpy as np
import parselmouth
import pytest

from canebench.base.notes import NOTES
from canebench.sound.synth import PlannedNote, Recipe
from support.pitch import assert_within_cents
from support.takes import Take, assert_notes_true, take_of, true_hz

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import SampleArray

_RANGE_HZ = (350.0, 1100.0)
_FRAME = 4096
_RATE_HZ = 48_000


def _yin(samples: SampleArray) -> float:
    """De Cheveigné & Kawahara 2002."""
    low, high = _RANGE_HZ
    found = librosa.yin(samples, fmin=low, fmax=high, sr=_RATE_HZ, frame_length=_FRAME, center=False)
    return float(np.median(found))


def _pyin(samples: SampleArray) -> float:
    """Mauch & Dixon 2014."""
    low, high = _RANGE_HZ
    found, _, _ = librosa.pyin(
        samples, fmin=low, fmax=high, sr=_RATE_HZ, frame_length=_FRAME, resolution=0.02, center=False
    )
    return float(np.nanmedian(found))


def _autocorrelation(samples: SampleArray) -> float:
    """Boersma 1993."""
    low, high = _RANGE_HZ
    sound = parselmouth.Sound(samples.astype(float), _RATE_HZ)
    found = sound.to_pitch_ac(time_step=0.01, pitch_floor=low, pitch_ceiling=high)
    pitches = found.selected_array["frequency"]
    return float(np.median(pitches[pitches > 0]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Other:
    """An estimator and the 95th percentile of its errors, cents."""

    estimate: Callable[[SampleArray], float]
    usual_cents: float


OTHERS = {
    "yin": Other(estimate=_yin, usual_cents=0.71),
    "pyin": Other(estimate=_pyin, usual_cents=1.13),
    "autocorrelation": Other(estimate=_autocorrelation, usual_cents=0.090),
}
#: Our own error on the same notes: what the issue asks of the 95th percentile in noise and room.
_OURS_CENTS = 0.03


@pytest.fixture(scope="module", params=["clean", "room"])
def take(request: pytest.FixtureRequest) -> Take:
    """Nine notes up to 30 cents off, clean or in noise and room."""
    rng = np.random.default_rng(6_101)
    notes = tuple(
        PlannedNote(note=note, duration_s=1.3, offset_cents=float(rng.uniform(-30, 30))) for note in NOTES
    )
    room = request.param == "room"
    return take_of(
        Recipe(
            low_a_hz=474.3,
            notes=notes,
            seed=6_101,
            rate_hz=float(_RATE_HZ),
            snr_db=20.0 if room else None,
            rt60_s=0.6 if room else None,
        )
    )


def _spans(take: Take) -> list[tuple[SampleArray, float, float]]:
    """For each note the samples that we averaged, our pitch and the true one."""
    found = []
    for note in take.measured.notes:
        ((start, end),) = note.spans_s
        cut = take.recording.samples[round(start * _RATE_HZ) : round(end * _RATE_HZ)]
        found.append((np.array(cut), note.hz, true_hz(note, take.truth)))
    return found


@pytest.mark.parametrize("name", list(OTHERS))
def test_others_agree_with_us_to_within_their_own_error(name: str, take: Take) -> None:
    other = OTHERS[name]
    apart = []
    for samples, our_hz, _ in _spans(take):
        their_hz = other.estimate(samples)
        assert_within_cents(their_hz, our_hz, cents=2 * other.usual_cents)
        apart.append(abs(1200 * np.log2(their_hz / our_hz)))
    assert float(np.median(apart)) < other.usual_cents


def test_our_error_is_far_smaller(take: Take) -> None:
    """So what is between us and the others is theirs."""
    assert_notes_true(take, NOTES, cents=_OURS_CENTS)


def test_control_a_pitch_three_cents_off_is_seen_by_all(take: Take) -> None:
    """Were ours 3 cents sharp, each of the three would say so."""
    samples, our_hz, _ = _spans(take)[1]
    for other in OTHERS.values():
        with pytest.raises(AssertionError, match="sounds"):
            assert_within_cents(
                other.estimate(samples), our_hz * 2 ** (3 / 1200), cents=2 * other.usual_cents
            )
