"""Sound files of every kind we read, encoded by PyAV from samples, in memory."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import av
import numpy as np

from support.tones import tone

if TYPE_CHECKING:
    from av.audio.stream import AudioStream

    from canebench.base.arrays import SampleArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One way to write sound: FFmpeg's container, codec and sample format.

    `cents` is what it may bend a pitch by, `level` by what part it may change an amplitude.
    """

    container: str
    codec: str
    samples: str
    cents: float = 1e-5
    level: float = 1e-4
    rates_hz: tuple[int, ...] = (44_100, 48_000)
    layout: str = "mono"


_ALL_RATES = (8_000, 44_100, 48_000, 96_000, 192_000)

#: Codings that keep the samples bend nothing; the others may do a few times what was seen. (The MP3 encoder
#: lowers the level by 5 %, AMR by 13 %.)
KINDS: dict[str, Kind] = {
    "wav-16-stereo": Kind(container="wav", codec="pcm_s16le", samples="s16", layout="stereo"),
    "wav-24": Kind(container="wav", codec="pcm_s24le", samples="s32", rates_hz=_ALL_RATES),
    "wav-float": Kind(container="wav", codec="pcm_f32le", samples="flt", rates_hz=_ALL_RATES),
    "w64-32": Kind(container="w64", codec="pcm_s32le", samples="s32"),
    "aiff-24": Kind(container="aiff", codec="pcm_s24be", samples="s32"),
    "flac": Kind(container="flac", codec="flac", samples="s32", rates_hz=_ALL_RATES),
    "mp3": Kind(container="mp3", codec="libmp3lame", samples="fltp", cents=1e-4, level=0.06),
    "m4a-aac": Kind(container="ipod", codec="aac", samples="fltp", cents=0.012, level=0.02),
    "m4a-alac": Kind(container="ipod", codec="alac", samples="s32p"),
    "ogg-opus": Kind(
        container="ogg", codec="libopus", samples="flt", cents=1e-3, level=0.01, rates_hz=(48_000,)
    ),
    "webm-opus": Kind(
        container="webm", codec="libopus", samples="flt", cents=1e-3, level=0.01, rates_hz=(48_000,)
    ),
    "matroska-float": Kind(container="matroska", codec="pcm_f32le", samples="flt"),
    "3gp-amr": Kind(
        container="3gp", codec="libopencore_amrnb", samples="s16", cents=0.01, level=0.2, rates_hz=(8_000,)
    ),
}

#: Also read; the fuzz test leaves them out, since they share containers and codecs with those above.
MORE_KINDS: dict[str, Kind] = {
    "caf-16": Kind(container="caf", codec="pcm_s16be", samples="s16"),
    "wav-8": Kind(container="wav", codec="pcm_u8", samples="u8", cents=1e-3, level=0.01),
    "wav-alaw": Kind(container="wav", codec="pcm_alaw", samples="s16", cents=0.01, level=0.01),
    "wav-double": Kind(container="wav", codec="pcm_f64le", samples="dbl"),
    "ogg-flac": Kind(container="ogg", codec="flac", samples="s16"),
    "adts-aac": Kind(container="adts", codec="aac", samples="fltp", cents=0.012, level=0.02),
    "mp4-opus": Kind(
        container="mp4", codec="libopus", samples="flt", cents=1e-3, level=0.01, rates_hz=(48_000,)
    ),
    "amr": Kind(
        container="amr", codec="libopencore_amrnb", samples="s16", cents=0.01, level=0.2, rates_hz=(8_000,)
    ),
}


def encoded(kind: Kind, samples: SampleArray, rate_hz: int) -> bytes:
    """The file that holds `samples` [shape=(channels, n)]."""
    out = io.BytesIO()
    options = {"fflags": "+bitexact"}
    if kind.container == "ogg":
        options["page_duration"] = "20000"  # microseconds: many pages even in a short file
    with av.open(out, mode="w", format=kind.container, options=options) as container:
        added = container.add_stream(kind.codec, rate=rate_hz, layout=kind.layout, format=kind.samples)
        stream = cast("AudioStream", added)
        stream.codec_context.open()
        fitted = av.AudioResampler(
            format=kind.samples,
            layout=kind.layout,
            rate=rate_hz,
            frame_size=stream.codec_context.frame_size or None,
        )
        # Interleaved, since PyAV takes no eight separate planes.
        packed = np.ascontiguousarray(samples.T).reshape(1, -1)
        frame = av.AudioFrame.from_ndarray(packed, format="flt", layout=kind.layout)
        frame.sample_rate, frame.pts = rate_hz, 0
        for piece in [*fitted.resample(frame), *fitted.resample(None)]:
            container.mux(stream.encode(piece))
        container.mux(stream.encode(None))
    return out.getvalue()


def tone_file(
    name: str, *, rate_hz: int, hz: float = 440.123, duration_s: float = 2.0, amplitude: float = 0.5
) -> bytes:
    """A file of kind `name` with a pure tone, the same in all channels."""
    kind = (KINDS | MORE_KINDS)[name]
    channels = av.AudioLayout(kind.layout).nb_channels
    samples = np.tile(tone(hz, rate_hz, duration_s=duration_s, amplitude=amplitude), (channels, 1))
    return encoded(kind, samples, rate_hz)
