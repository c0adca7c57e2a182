"""A break may come at any moment: between estimates, during an analysis, just after another break."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.scales import DEFAULT_SCALE
from canebench.sound.analysis.section import hear_closely
from canebench.sound.dsp.stft import Frames
from canebench.sound.live.estimator import LiveListener
from canebench.sound.live.ring_buffer import Incoming
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from support.streaming import broken
from support.tones import tone

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.analysis.section import Closely

RATE_HZ = 48_000
BLOCK = 2_048
#: Shorter than a frame: nothing can be seen in it.
SHORT = 1_024
HEARD = 66 * BLOCK
RECIPE = Recipe(
    low_a_hz=474.0,
    notes=scale_notes("B", "D", duration_s=3.0),
    seed=4_101,
    drones=DronePlan(tenor_cents=(1.0, -1.0)),
    snr_db=30.0,
)


@pytest.fixture(scope="module")
def samples() -> FloatArray:
    return np.asarray(render(RECIPE)[0].samples, dtype=np.float64)


@pytest.fixture(scope="module")
def closely(samples: FloatArray) -> Closely:
    """What is heard in the first seconds; the same for every test."""
    return hear_closely(analysis_under_way(samples).begin_analysis())


def fed(listener: LiveListener, samples: FloatArray, start: int, *, number: int | None = None) -> None:
    """The samples from `start`, an estimate after every block; `number` is what the first is counted as."""
    for at in range(start, len(samples), BLOCK):
        listener.add(samples[at : at + BLOCK], first_frame=at if number is None else at - start + number)
        listener.estimate()


def analysis_under_way(samples: FloatArray) -> LiveListener:
    """A listener that has heard nothing yet, and has enough to."""
    listener = LiveListener(rate_hz=RATE_HZ, scale=DEFAULT_SCALE)
    fed(listener, samples[:HEARD], 0)
    assert listener.settles
    return listener


def ended_after_a_break(samples: FloatArray, closely: Closely) -> LiveListener:
    """The analysis is taken in when the stream has broken and not one frame has come since."""
    listener = analysis_under_way(samples)
    listener.begin_analysis()
    listener.add(samples[HEARD : HEARD + SHORT], first_frame=HEARD + 4_800)
    assert listener._incoming.kept == 0
    listener.end_analysis(closely)
    return listener


def test_an_analysis_that_ends_just_after_a_break_is_taken_in(samples: FloatArray, closely: Closely) -> None:
    _, courses, voices = closely
    assert voices, "without drones there is nothing to follow"
    assert courses
    listener = ended_after_a_break(samples, closely)
    estimate = listener.estimate()
    assert (estimate.breaks, estimate.sounding) == (1, None)
    # What comes after it is heard as ever.
    fed(listener, samples, HEARD + SHORT, number=HEARD + 4_800 + SHORT)
    measured = listener.settle()
    assert measured is not None
    assert [note.note for note in measured.notes] == ["B", "D"]
    assert len(measured.drones) == len(voices)
    assert listener.breaks == [HEARD + 4_800]


def test_an_estimate_before_what_comes_next_does_no_harm() -> None:
    """Some of the stream is left out, and an estimate comes before the rest: its breaks are still found."""
    partials = [tone(k * 478.3, RATE_HZ, duration_s=6.0, amplitude=0.2 / k) for k in (1, 2, 3, 4, 5)]
    whole = np.sum(np.asarray(partials, dtype=np.float64), axis=0)
    after = broken(whole[: 2 * RATE_HZ], RATE_HZ, 512, twice=False)
    listener = LiveListener(rate_hz=RATE_HZ, scale=DEFAULT_SCALE)
    fed(listener, whole[: 3 * RATE_HZ], 0)
    listener.leave_out()
    listener.estimate()
    fed(listener, after, 0, number=4 * RATE_HZ)
    assert len(listener.unseen) == 1
    assert listener.unseen[0] / RATE_HZ == pytest.approx(5.0, abs=0.1)


@pytest.mark.parametrize("count", [-40, -1, 0])
def test_no_frames_are_none(count: int) -> None:
    incoming = Incoming(RATE_HZ)
    assert incoming.newest(count) is None
    incoming.add(np.zeros(RATE_HZ))
    assert incoming.kept > 1
    assert incoming.newest(count) is None
    incoming.begin(2.0)
    assert incoming.newest(incoming.kept) is None


def test_control_frames_of_nothing_are_noticed(
    samples: FloatArray, closely: Closely, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Asked for all of none, a buffer that stacks whatever it has ends the stream's estimates."""

    def newest(self: Incoming, count: int) -> Frames | None:
        if len(self._rows) < count:
            return None
        return Frames(
            spectrum=np.stack(self._rows[-count:]),
            bin_hz=self.rate_hz / self._size,
            hop_s=self.hop_s,
            start_s=self.began_s,
        )

    monkeypatch.setattr(Incoming, "newest", newest)
    with pytest.raises(ValueError, match="need at least one array to stack"):
        ended_after_a_break(samples, closely)


def test_control_estimates_counted_on_over_a_beginning_miss_a_break(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the frames begin anew and the count of those looked at does not, a break goes by unseen."""

    def begin(self: LiveListener, frame: int) -> None:
        self._incoming.begin(frame / self._rate_hz)

    monkeypatch.setattr(LiveListener, "_begin", begin)
    with pytest.raises(AssertionError):
        test_an_estimate_before_what_comes_next_does_no_harm()
