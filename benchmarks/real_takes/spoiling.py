"""From a take's two parts to the recording that is measured, through whatever lies between pipes and file."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.signal import butter, fftconvolve, resample_poly, sosfilt

from canebench.sound.files.recording import Recording
from real_takes.codecs import through_codec
from real_takes.telephone import as_by_telephone
from real_takes.voices import RATE_HZ
from support.noises import speech

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import FloatArray
    from real_takes.takes import RealTake

_PEAK: Final = 0.5
_RT60_S: Final = 2.0


def recorded(
    take: RealTake,
    *,
    drones_db: float | None,
    spoilt_by: str | None,
    seed: int,
    other: RealTake | None = None,
) -> tuple[RealTake, Recording]:
    """The take as it is recorded, and the take as it then is (it may begin later).

    `other` is what a second piper plays, where one does.
    """
    rng = np.random.default_rng([seed, 77])
    take = _PIPES[spoilt_by](take, rng) if spoilt_by in _PIPES else take
    samples = mixed_down(take, drones_db)
    if spoilt_by == "second" and other is not None:
        samples = samples + 10 ** (-15 / 20) * np.resize(other.chanter, len(samples))
    if spoilt_by in _AROUND:
        samples = samples + _AROUND[spoilt_by](take, rng)
    if spoilt_by == "phone":
        return take, recording_of(*as_by_telephone(samples, RATE_HZ, narrow=seed % 2 == 0))
    recording = recording_of(samples, RATE_HZ)
    return take, through_codec(recording, spoilt_by) if spoilt_by in ("mp3", "opus", "aac") else recording


def mixed_down(take: RealTake, drones_db: float | None) -> FloatArray:
    """Chanter and drones together, the drones by so much above the chanter (None: silent)."""
    if drones_db is None:
        return take.chanter
    return np.asarray(take.chanter + 10 ** (drones_db / 20) * take.drones)


def recording_of(samples: FloatArray, rate_hz: float) -> Recording:
    """The samples at half of full scale."""
    peak = float(np.max(np.abs(samples)))
    return Recording(
        samples=(samples * (_PEAK / peak)).astype(np.float32), rate_hz=rate_hz, origin="take.wav"
    )


def _in_hall(take: RealTake, rng: np.random.Generator) -> RealTake:
    """Each through its own reverberation of 2 s, as strong as the direct sound."""
    parts = [_reverberant(part, rng) for part in (take.chanter, take.drones)]
    return replace(take, chanter=parts[0], drones=parts[1])


def _reverberant(samples: FloatArray, rng: np.random.Generator) -> FloatArray:
    count = round(_RT60_S * RATE_HZ)
    time_s = np.arange(count) / RATE_HZ
    tail = rng.standard_normal(count) * np.exp(-np.log(1000.0) * time_s / _RT60_S)
    tail[: round(0.01 * RATE_HZ)] = 0.0
    tail /= np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return np.asarray(fftconvolve(samples, tail)[: len(samples)])


def _with_squeals(take: RealTake, rng: np.random.Generator) -> RealTake:
    """Three notes begin with a squeal (1.5 to 2.5 kHz), two stop for 0.25 s, the end is cut off."""
    chanter = take.chanter.copy()
    long = [event for event in take.events if not event.grace and event.end_s - event.start_s > 0.6]
    picked = [long[i] for i in rng.permutation(len(long))[:5]]
    for event in picked[:3]:
        count = round(rng.uniform(0.1, 0.3) * RATE_HZ)
        start = round(event.start_s * RATE_HZ)
        freq_hz = rng.uniform(1500, 2500) * np.exp2(np.linspace(0, rng.uniform(-0.1, 0.1), count))
        phase = 2 * np.pi * np.cumsum(freq_hz) / RATE_HZ
        squeal = np.sin(phase) + 0.4 * np.sin(2 * phase) + 0.2 * np.sin(3 * phase)
        chanter[start : start + count] = (1.2 * squeal * np.sin(np.linspace(0, np.pi, count)) ** 0.3)[
            : len(chanter) - start
        ]
    for event in picked[3:]:
        middle = round((0.4 * event.start_s + 0.6 * event.end_s) * RATE_HZ)
        _mute(chanter, middle, middle + round(0.25 * RATE_HZ))
    drones = take.drones.copy()
    for part in (chanter, drones):
        _mute(part, len(part) - round(0.4 * RATE_HZ), len(part))
    return replace(take, chanter=chanter, drones=drones)


def _mute(samples: FloatArray, start: int, end: int) -> None:
    """Silence with a fall and rise of 8 ms, in place: the copy is ours."""
    size = round(0.008 * RATE_HZ)
    ramp = np.linspace(1, 0, size)
    gain = np.concatenate([ramp, np.zeros(max(0, end - start - 2 * size)), ramp[::-1]])[: end - start]
    if end == len(samples):
        gain[size:] = 0.0
    samples[start:end] *= gain


def _struck_in(take: RealTake, rng: np.random.Generator) -> RealTake:
    """Two to three seconds of nothing, then the drones rise to level and pitch within 0.7 s."""
    drones = take.drones.copy()
    count = round(0.7 * RATE_HZ)
    drones[:count] *= np.linspace(0, 1, count) ** 1.5
    return replace(take, drones=drones).after(float(rng.uniform(2.0, 3.0)))


def _wind(take: RealTake, rng: np.random.Generator) -> FloatArray:
    return wind_of(len(take.chanter), rng)


def wind_of(count: int, rng: np.random.Generator) -> FloatArray:
    """Rumble below some 150 Hz in bursts as loud as the pipes, over a steady murmur 20 dB down."""
    rumble = sosfilt(butter(2, 150, fs=RATE_HZ, output="sos"), rng.standard_normal(count))
    rumble = sosfilt(butter(1, 20, "highpass", fs=RATE_HZ, output="sos"), rumble)
    gusts = rng.standard_normal(int(count / RATE_HZ * 4) + 8)
    envelope = resample_poly(np.clip(gusts - 0.3, 0, None), round(RATE_HZ / 4), 1)[:count]
    rumble *= 0.1 + np.clip(envelope, 0, None)
    return np.asarray(rumble * 1.4 / np.sqrt(np.mean(rumble**2)))


def _talk(take: RealTake, rng: np.random.Generator) -> FloatArray:
    """Speech 3 dB below the chanter wherever it rests, and quiet while it plays."""
    voice = speech(RATE_HZ, take.duration_s, seed=int(rng.integers(1 << 30)))[: len(take.chanter)]
    rests = np.ones(len(take.chanter))
    for event in take.events:
        rests[round(event.start_s * RATE_HZ) : round(event.end_s * RATE_HZ)] = 0.0
    loud = voice * rests
    return np.asarray(loud * 0.7 / np.sqrt(np.sum(loud**2) / max(1.0, np.sum(rests))))


def _still_air(take: RealTake, rng: np.random.Generator) -> FloatArray:
    return np.asarray(1e-3 * rng.standard_normal(len(take.chanter)))


_PIPES: Final[dict[str | None, Callable[[RealTake, np.random.Generator], RealTake]]] = {
    "hall": _in_hall,
    "squeals": _with_squeals,
    "striking-in": _struck_in,
}
_AROUND: Final[dict[str | None, Callable[[RealTake, np.random.Generator], FloatArray]]] = {
    "wind": _wind,
    "talk": _talk,
    "striking-in": _still_air,
}
