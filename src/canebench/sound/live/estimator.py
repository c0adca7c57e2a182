"""The estimator while the sound comes in: what sounds now, and the notes held so far.

The same stream twice over. `estimate` is quick and reads the newest 0.35 s: one pitch, its uncertainty, level
and breaks. `settle` hears the newest three seconds as `listening.hear` hears a take, drones and all, and adds
its steady parts to those held so far, from which the beam is laid. Neither replaces the measurement of the
recording, which is made when the take ends. Guarded by `tests/cross_method/test_live_against_measure.py`,
`tests/invariants/test_live_breaks.py` and `benchmarks/live.py`.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.units import hz_to_cents
from canebench.sound.analysis.drones.drone_lines import NO_LINES
from canebench.sound.analysis.measure import measurement_of
from canebench.sound.analysis.notes.pitch_contour import COMPASS_HZ, contour_of
from canebench.sound.analysis.pooling import drone_readings
from canebench.sound.analysis.processing import trace_remarks
from canebench.sound.analysis.section import Closely, Course, Heard, hear_closely
from canebench.sound.dsp.harmonic_source import partial_numbers, phasors
from canebench.sound.dsp.loudness import Loudness, Meter
from canebench.sound.dsp.stft import amplitudes_at
from canebench.sound.live.drone_tracking import LITTLE_LEFT, MOST_LEFT, Drones, drones_of, followed
from canebench.sound.live.dropouts import SPAN, breaks
from canebench.sound.live.note_joining import merged
from canebench.sound.live.ring_buffer import Incoming

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray
    from canebench.base.finding import Finding
    from canebench.base.scales import Scale
    from canebench.sound.analysis.measure import ReferenceChoice
    from canebench.sound.analysis.processing import Traces
    from canebench.sound.analysis.readings import DroneReading, Measurement
    from canebench.sound.dsp.decimation import Section
    from canebench.sound.dsp.harmonic_source import HarmonicSource
    from canebench.sound.dsp.stft import Frames

#: Frames of the quick estimate, and the sound that they span, s.
_FRAMES: Final = 13
WINDOW_S: Final = 0.0853 + (_FRAMES - 1) * 0.0213
#: Frames at the end that must agree for a note to be sounding, and by how much, cents.
_AGREE, _AGREE_CENTS = 8, 20.0
_PARTIALS: Final = 9
#: A note is surer than this of its pitch (2.5 cents); a voice that speaks is not.
_STEADY: Final = 1.45e-3
#: An analysis waits for so much new sound, s.
SETTLE_S: Final = 2.0
_LEAST_ANALYSIS_S: Final = 1.6
#: Analyses, the newest, that remarks are made from.
_TRACES: Final = 20
_USUAL_LOW_A_HZ: Final = 474.0
_NAME_CENTS: Final = 60.0
#: Energy of a note over that of the drones, less than which may be what is left of them.
_LEAST_ENERGY: Final = 0.03
#: Of a note an octave up the odd partials rise less than this share of the even ones.
_LEAST_ODD_RISE: Final = 0.5
#: Where nothing of a note is, in its pitch, and how far above that it stands.
_BETWEEN: Final = np.array([0.5, 0.75, 1.25, 1.5, 1.75, 2.5, 3.5])
_ABOVE: Final = 2.0
#: A quick estimate reaches up to here: six partials of low A.
_TOP_HZ: Final = 3_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sounding:
    """The note sounding now: its pitch over the window, and its place on the scale, if it has one."""

    hz: float
    sd_hz: float
    note: str | None
    cents: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """One estimate.

    `at_s` is the time of the newest sound that it saw; `breaks` counts the breaks so far, those that the
    frame counter told and those that only the phase did; `lost_s` is what the counter says is missing;
    `remarks` say what seems to be done to the sound on its way, as far as the analyses tell.
    """

    at_s: float
    sounding: Sounding | None
    loudness: Loudness
    breaks: int
    lost_s: float
    remarks: tuple[Finding, ...]


class LiveListener:
    """One stream: mutable on purpose, for one thread at a time."""

    def __init__(self, *, rate_hz: float, scale: Scale, reference: ReferenceChoice = "auto") -> None:
        self._rate_hz, self._scale, self._reference = rate_hz, scale, reference
        self._incoming = Incoming(rate_hz)
        self._meter = Meter(rate_hz)
        self._expected: int | None = None
        self._lost = 0
        self._estimated = 0
        self._heard_to_s = 0.0
        self._heard = False
        self._drones: tuple[DroneReading, ...] = ()
        self._alongside: Drones | None = None
        self._most_left = 0.0
        self._heard_from_s = 0.0
        self._held: list[Course] = []
        self._traces: deque[Traces] = deque(maxlen=_TRACES)
        self._remarks: tuple[Finding, ...] = ()
        self._so_far: Measurement | None = None
        #: Frames of the stream before which something is missing or doubled; and those that no counter told.
        self.breaks: list[int] = []
        self.unseen: list[int] = []

    def add(self, samples: FloatArray, *, first_frame: int) -> None:
        """The next block; `first_frame` counts from the stream's beginning."""
        if self._expected is not None and first_frame != self._expected:
            self._lost += max(0, first_frame - self._expected)
            self._break(first_frame)
        elif self._expected is None:
            self._begin(first_frame)
        self._expected = first_frame + len(samples)
        self._meter.add(samples)
        self._incoming.add(np.asarray(samples, dtype=np.float64))

    def leave_out(self) -> None:
        """Whatever comes next does not join on: some of the stream was left out of listening."""
        self._expected = None

    def _break(self, frame: int) -> None:
        self.breaks.append(frame)
        self._begin(frame)

    def _begin(self, frame: int) -> None:
        """Frames are counted anew, and so are those already looked at: neither is right without the other."""
        self._incoming.begin(frame / self._rate_hz)
        self._estimated = 0

    def estimate(self) -> Now:
        """What sounds now."""
        self._find_breaks()
        frames = self._incoming.newest(_FRAMES)
        sounding = None if frames is None else self._sounding(_lowest(frames))
        return Now(
            at_s=self._incoming.now_s,
            sounding=sounding,
            loudness=self._meter.read(),
            breaks=len(self.breaks),
            lost_s=self._lost / self._rate_hz,
            remarks=self._remarks,
        )

    def _find_breaks(self) -> None:
        fresh = self._incoming.framed - self._estimated
        frames = self._incoming.newest(min(SPAN - 1 + fresh, self._incoming.kept)) if fresh else None
        if frames is None or frames.count < SPAN:
            return
        self._estimated = self._incoming.framed
        found = breaks(frames)
        if found:
            self._break(self._expected or 0)
            self.breaks[-1] = round(found[-1] * self._rate_hz)
            self.unseen.append(self.breaks[-1])

    def _sounding(self, frames: Frames) -> Sounding | None:
        # Before the first analysis a drone would pass for a note.
        rest = self._without_drones(frames) if self._heard else None
        if rest is None:
            return None
        course = contour_of(rest, NO_LINES)
        newest = slice(-_AGREE, None)
        cents = hz_to_cents(course.freq_hz[newest], 1.0)
        if not course.sounding[newest].all() or np.ptp(cents) > _AGREE_CENTS:
            return None
        near_hz = float(np.median(course.freq_hz[newest]))
        near_hz *= 2 if is_octave(rest, near_hz, _AGREE) else 1
        hz, sd_hz, energy = pitch_of(rest, near_hz, _AGREE)
        drones = 0.0 if self._alongside is None else self._alongside.energy
        if not sd_hz < _STEADY * hz or energy < _LEAST_ENERGY * drones:
            return None
        if drones and not stands_alone(rest, hz, _AGREE):
            return None
        named_by, reference_hz = self._low_a()
        offsets = {
            note: min((hz_to_cents(hz, low_a * self._scale.ratios[note]) for low_a in named_by), key=abs)
            for note in NOTES
        }
        note = min(offsets, key=lambda one: abs(offsets[one]))
        if abs(offsets[note]) > _NAME_CENTS:
            return Sounding(hz=hz, sd_hz=sd_hz, note=None, cents=None)
        cents_off = hz_to_cents(hz, reference_hz * self._scale.ratios[note])
        return Sounding(hz=hz, sd_hz=sd_hz, note=note, cents=cents_off)

    def _without_drones(self, frames: Frames) -> Frames | None:
        """The frames less the drones heard last, followed to here; None where they are not as they were."""
        if self._alongside is None:
            return frames
        drones, rest, left = followed(frames, self._alongside)
        self._most_left = max(self._most_left, left)
        if left > MOST_LEFT:
            return None
        self._alongside = drones
        return rest

    def _low_a(self) -> tuple[list[float], float]:
        """Low A as notes may be named by, and as cents are counted from."""
        measured = self._so_far
        own = _USUAL_LOW_A_HZ if measured is None else measured.low_a_hz or _USUAL_LOW_A_HZ
        if isinstance(self._reference, (int, float)):
            own = float(self._reference) if measured is None else own
        tenors = [drone.hz for drone in self._drones if drone.drone == "tenor"]
        named_by = [own, 2 * float(np.mean(tenors))] if tenors else [own]
        reference = None if measured is None else measured.reference
        return named_by, named_by[-1] if reference is None else reference.hz

    @property
    def settles(self) -> bool:
        """Whether enough has come in for another analysis."""
        newest = self._incoming.now_s
        return newest - self._heard_to_s >= SETTLE_S and newest - self._incoming.began_s >= _LEAST_ANALYSIS_S

    def settle(self) -> Measurement | None:
        """Hear the newest seconds and add what was held in them."""
        return self.end_analysis(hear_closely(self.begin_analysis()))

    def begin_analysis(self) -> Section:
        """The newest seconds, to be heard elsewhere while estimates go on."""
        self._heard_to_s = self._incoming.now_s
        section = self._incoming.section()
        self._heard_from_s = section.start_s
        return section

    def end_analysis(self, closely: Closely) -> Measurement | None:
        """Take in what `listening.hear_closely` made of them; the beam so far."""
        heard, courses, voices = closely
        self._heard = True
        if voices or heard.holds:
            # An analysis of nothing at all says nothing of the drones either.
            self._drones = drone_readings([heard])
            self._catch_up(voices)
        self._traces.append(heard.traces)
        self._remarks = tuple(trace_remarks(self._traces))
        self._held = merged(self._held, list(courses))
        self._so_far = self._measured(heard)
        return self._so_far

    def _catch_up(self, voices: Sequence[HarmonicSource]) -> None:
        """Follow the drones from the end of the analysis to the newest sound.

        Those followed well until now are kept: they were told apart when more of their beating was heard.
        Where the stream has just broken there is no frame to follow them through: the next estimate goes on
        from the analysis's end.
        """
        most_left, self._most_left = self._most_left, 0.0
        known = 0 if self._alongside is None else len(self._alongside.hz)
        if known and len(voices) <= known and most_left < LITTLE_LEFT:
            return
        first_s = self._heard_from_s + self._incoming.window_s / 2
        hop_s = self._incoming.hop_s
        self._alongside = drones_of(voices, first_s=first_s, hop_s=hop_s, top_hz=_TOP_HZ)
        frames = self._incoming.newest(self._incoming.kept)
        if self._alongside is None or frames is None:
            return
        frames = _lowest(frames)
        after = max(0, round((self._alongside.at_s - frames.start_s) / hop_s))
        for start in range(after, frames.count - _FRAMES, _FRAMES // 2):
            self._without_drones(frames.between(start, start + _FRAMES))

    def _measured(self, heard: Heard) -> Measurement | None:
        if not self._held:
            return None
        whole = replace(heard, holds=tuple(course.held for course in self._held))
        return measurement_of(
            [whole],
            self._drones,
            [],
            take=("the microphone", self._incoming.now_s),
            scale=self._scale,
            reference=self._reference,
            low_a_near_hz=None,
        )


def is_octave(rest: Frames, hz: float, count: int) -> bool:
    """Whether the odd partials rise far less above what is between than the even ones: the note is one up."""
    if 2 * hz > COMPASS_HZ[1]:
        return False
    newest = rest.between(rest.count - count, rest.count)
    number = partial_numbers(hz, rest.top_hz - hz / 2, _PARTIALS)
    own, between = (
        np.log10(np.median(np.abs(amplitudes_at(newest, hz * places)), axis=0) + 1e-9)
        for places in (number, number + 0.5)
    )
    rise = np.maximum(own - np.median(between), 0.0)
    return bool(np.mean(rise[::2]) < _LEAST_ODD_RISE * np.mean(rise[1::2]))


def stands_alone(rest: Frames, hz: float, count: int) -> bool:
    """Whether a note's partials stand well above what is between them: the drones' remains do not."""
    newest = rest.between(rest.count - count, rest.count)
    own = np.abs(amplitudes_at(newest, hz * np.arange(1, 6)))
    between = np.abs(amplitudes_at(newest, hz * _BETWEEN))
    return bool(np.sqrt(np.mean(own**2)) > _ABOVE * np.sqrt(np.mean(between**2)))


def _lowest(frames: Frames) -> Frames:
    """The frames up to where a quick estimate reaches, and a few bins more."""
    return frames.replaced(frames.spectrum[:, : int(1.15 * _TOP_HZ / frames.bin_hz)])


def pitch_of(rest: Frames, near_hz: float, count: int) -> tuple[float, float, float]:
    """Pitch over the newest `count` frames by the advance of its partials' phases, its uncertainty, energy.

    Partial k advances by 2 pi k f T from frame to frame. Each is read where it is expected, turned back, and
    what is left of the advance is averaged by k^2 |a|^2, the weights of least squares; how partials and
    frames differ is the uncertainty.
    """
    numbers = partial_numbers(near_hz, rest.top_hz, _PARTIALS)
    newest = rest.between(rest.count - count, rest.count)
    hz = near_hz
    sd_hz, energy = math.inf, 0.0
    for _ in range(2):
        cycles = hz * rest.hop_s * np.arange(count)
        read = amplitudes_at(newest, hz * numbers) * phasors(cycles, numbers).conj()
        step = read[1:] * read[:-1].conj()
        weight = numbers**2 * np.abs(step)
        off = np.angle(step) / (2 * np.pi * rest.hop_s * numbers)
        total = float(np.sum(weight))
        if total <= 0:
            return hz, math.inf, 0.0
        mean = float(np.sum(weight * off) / total)
        # Neighbouring frames share three quarters of their sound.
        independent = max(1.0, (count - 1) / 4)
        sd_hz = math.sqrt(float(np.sum(weight * (off - mean) ** 2) / total) / independent)
        hz += mean
        energy = float(np.sum(np.abs(np.median(np.abs(read), axis=0)) ** 2))
    return hz, sd_hz, energy
