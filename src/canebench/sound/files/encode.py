"""From a `Recording` to a sound file: container and coding follow from the file name's ending."""

from __future__ import annotations

import os
import secrets
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, BinaryIO, Final, Literal, cast

import av
import numpy as np

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.sentences import cannot
from canebench.base.uncertain import number

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from av.audio.frame import AudioFrame
    from av.audio.stream import AudioStream

    from canebench.sound.files.recording import Recording

BitDepth = Literal[16, 24, 32]

_OPUS_HZ = 48_000
_STEPS_24 = np.float32(1 << 23)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Coding:
    """FFmpeg's names for one way to write: container, codec, sample format."""

    container: str
    codec: str
    samples: str


#: By file ending and bits a sample (None: a lossy coding without such a number).
_CODINGS: Final[dict[str, dict[int | None, _Coding]]] = {
    ".wav": {
        16: _Coding(container="wav", codec="pcm_s16le", samples="s16"),
        24: _Coding(container="wav", codec="pcm_s24le", samples="s32"),
        32: _Coding(container="wav", codec="pcm_f32le", samples="flt"),
    },
    ".flac": {
        16: _Coding(container="flac", codec="flac", samples="s16"),
        24: _Coding(container="flac", codec="flac", samples="s32"),
    },
    ".m4a": {
        None: _Coding(container="ipod", codec="aac", samples="fltp"),
        16: _Coding(container="ipod", codec="alac", samples="s16p"),
        24: _Coding(container="ipod", codec="alac", samples="s32p"),
    },
    ".mp3": {None: _Coding(container="mp3", codec="libmp3lame", samples="fltp")},
    ".ogg": {None: _Coding(container="ogg", codec="libopus", samples="flt")},
    ".webm": {None: _Coding(container="webm", codec="libopus", samples="flt")},
}
#: What is written when no bit depth is asked for; one that loses nothing of a microphone where there is one.
_USUAL_DEPTH: Final[dict[str, int | None]] = {".wav": 24, ".flac": 24}


def write_recording(recording: Recording, path: Path, *, bit_depth: BitDepth | None = None) -> None:
    """Write `recording` to `path`, whole or not at all: a file there before stays until the new one is done.

    Parameters
    ----------
    recording : Recording
        At least one sample, within full scale (±1) but for 32-bit WAV, which holds floats.
    path : Path
        Its ending decides: .wav (16, 24 or 32 bits), .flac (16, 24), .m4a (AAC; with 16 or 24 bits ALAC),
        .mp3, .ogg and .webm (Opus, which is always at 48 000 Hz).
    bit_depth : 16, 24, 32 or None
        Bits a sample. None: 24 for .wav and .flac, the lossy coding for the others.

    Raises
    ------
    UnknownNameError
        The ending is none of these.
    InputError
        The bit depth or rate does not exist in that coding, a sample is beyond full scale or no number, or
        the place cannot be written.

    Guarded by `tests/analytic/test_decode_formats.py`.
    """
    coding = _coding(path, bit_depth)
    rate_hz = _written_rate_hz(recording, coding)
    _check_samples(recording, within_full_scale=coding.samples != "flt" or coding.container != "wav")
    with _replacing(path) as handle:
        # bitexact: the same recording gives the same bytes, without the writer's version in them.
        options = {"fflags": "+bitexact"}
        with av.open(handle, mode="w", format=coding.container, options=options) as container:
            added = container.add_stream(coding.codec, rate=rate_hz, layout="mono", format=coding.samples)
            stream = cast("AudioStream", added)
            for frame in _frames(recording, stream, coding):
                container.mux(stream.encode(frame))
            container.mux(stream.encode(None))


def _coding(path: Path, bit_depth: BitDepth | None) -> _Coding:
    suffix = path.suffix.lower()
    if suffix not in _CODINGS:
        raise UnknownNameError(field=f"ending of {path.name}", given=suffix, known=_CODINGS)
    choices = _CODINGS[suffix]
    depth = _USUAL_DEPTH.get(suffix) if bit_depth is None else bit_depth
    if depth not in choices:
        known = [f"{bits} bits" for bits in choices if bits is not None]
        raise InputError(
            field=f"bit depth for {suffix}",
            given=f"{depth} bits",
            allowed=f"allowed are {', '.join(known)}" if known else "this coding has none: leave it out",
            nearest=known[-1] if known else None,
        )
    return choices[depth]


def _written_rate_hz(recording: Recording, coding: _Coding) -> int:
    if coding.codec == "libopus":
        return _OPUS_HZ
    rates = av.Codec(coding.codec, "w").audio_rates
    nearest = min(rates or [round(recording.rate_hz)], key=lambda rate: abs(rate - recording.rate_hz))
    if nearest != recording.rate_hz:
        raise InputError(
            field="sample rate",
            given=f"{recording.rate_hz:g} Hz",
            allowed=f"allowed are {', '.join(map(str, sorted(rates)))} Hz"
            if rates
            else "a whole number is needed",
            nearest=f"{nearest} Hz, or a .wav file",
        )
    return nearest


def _check_samples(recording: Recording, *, within_full_scale: bool) -> None:
    if not len(recording.samples):
        raise InputError(
            field="recording", given="no sample", allowed="at least one is needed to write a file"
        )
    peak = float(np.max([np.max(np.abs(block)) for block in recording.blocks()]))
    if not np.isfinite(peak):
        raise InputError(field="recording", given="a sample that is no number", allowed="numbers are needed")
    if within_full_scale and peak > 1.0:
        gain_db = -20 * np.log10(peak)
        raise InputError(
            field="recording",
            given=f"a peak of {peak:.4g} times full scale",
            allowed="this coding holds at most 1",
            nearest=f"a gain of {number(np.floor(100 * gain_db) / 100, 2)} dB, or a .wav file with 32 bits",
        )


def _frames(recording: Recording, stream: AudioStream, coding: _Coding) -> Iterator[AudioFrame]:
    """Frames of the size, rate and sample format that the encoder takes."""
    rate_hz = round(recording.rate_hz)
    stream.codec_context.open()  # only an open encoder tells its frame size
    fitted = av.AudioResampler(
        format=coding.samples,
        layout="mono",
        rate=stream.codec_context.sample_rate,
        frame_size=stream.codec_context.frame_size or None,
    )
    start = 0
    for samples in recording.blocks():
        block = samples
        if coding.samples in ("s32", "s32p"):
            # FFmpeg cuts 32 bits to 24, which would bias; float32 holds 24 bits exactly.
            block = (np.round(block * _STEPS_24) / _STEPS_24).astype(np.float32)
        frame = av.AudioFrame.from_ndarray(block[None], format="fltp", layout="mono")
        frame.sample_rate, frame.pts, frame.time_base = rate_hz, start, Fraction(1, rate_hz)
        start += len(block)
        yield from fitted.resample(frame)
    yield from fitted.resample(None)


@contextmanager
def _replacing(path: Path) -> Iterator[BinaryIO]:
    """A new file beside `path` that takes its place at the end, and is gone if anything fails before."""
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as handle:
            yield handle
            handle.flush()
            os.fsync(handle.fileno())
        part.replace(path)
    except BaseException as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        if isinstance(error, OSError | av.FFmpegError):
            raise InputError(
                field=str(path),
                given=f"a place {cannot('written', _of_the_disk(error))}",
                allowed="a folder with room and write access is needed",
            ) from error
        raise


def _of_the_disk(error: BaseException) -> OSError:
    """What the disk said, where the encoder says only that its writer failed."""
    said: BaseException | None = error
    while said is not None:
        if isinstance(said, OSError) and not isinstance(said, av.FFmpegError):
            return said
        said = said.__cause__ or said.__context__
    return OSError()
