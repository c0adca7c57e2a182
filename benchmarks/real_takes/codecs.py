"""Through a real encoder at a given bit rate, and back by our own decoder."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Final, cast

import av
import numpy as np

from canebench.sound.files.decode import read_bytes

if TYPE_CHECKING:
    from av.audio.stream import AudioStream

    from canebench.sound.files.recording import Recording

#: Container, codec, sample format, rate in Hz, bits per second.
_CODECS: Final = {
    "mp3": ("mp3", "libmp3lame", "fltp", 44_100, 64_000),
    "opus": ("ogg", "libopus", "flt", 48_000, 32_000),
    "aac": ("ipod", "aac", "fltp", 44_100, 96_000),
}


def through_codec(recording: Recording, name: str) -> Recording:
    """The recording as it comes back."""
    container_name, codec, samples, rate_hz, bits_per_s = _CODECS[name]
    out = io.BytesIO()
    with av.open(out, mode="w", format=container_name, options={"fflags": "+bitexact"}) as container:
        stream = cast("AudioStream", container.add_stream(codec, rate=rate_hz, layout="mono", format=samples))
        stream.codec_context.bit_rate = bits_per_s
        stream.codec_context.open()
        fitted = av.AudioResampler(
            format=samples, layout="mono", rate=rate_hz, frame_size=stream.codec_context.frame_size or None
        )
        packed = np.ascontiguousarray(recording.samples).reshape(1, -1)
        frame = av.AudioFrame.from_ndarray(packed, format="flt", layout="mono")
        frame.sample_rate, frame.pts = round(recording.rate_hz), 0
        for piece in [*fitted.resample(frame), *fitted.resample(None)]:
            container.mux(stream.encode(piece))
        container.mux(stream.encode(None))
    return read_bytes(out.getvalue(), origin=f"take.{name}")
