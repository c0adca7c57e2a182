"""Runs inside the decoder process: from one open file to mono samples and the facts about them.

Imported by `canebench.sound.files.decode_child` only, and therefore free of all that is slow to import.
Guarded by `tests/faults/test_decode_edges.py`.
"""

from __future__ import annotations

from struct import unpack_from
from typing import TYPE_CHECKING, BinaryIO, TypedDict

import av

from canebench.sound.files.decode_mix import THREADS, Mixer
from canebench.sound.files.refusal_words import NEAREST, SOUND_NEEDED

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from av.audio.frame import AudioFrame
    from av.audio.stream import AudioStream
    from av.container import InputContainer
    from av.packet import Packet

#: With custom reading FFmpeg still opens what a playlist or a reference names, unless these forbid it.
_FORMATS = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,ogg,mp3,flac,wav,w64,aiff,caf,aac,amr"
_CODECS = (
    "aac,alac,flac,mp3,mp3float,opus,vorbis,amrnb,amrwb,pcm_alaw,pcm_mulaw,pcm_u8,pcm_s8,"
    "pcm_s16le,pcm_s16be,pcm_s24le,pcm_s24be,pcm_s32le,pcm_s32be,pcm_f32le,pcm_f32be,pcm_f64le,pcm_f64be"
)
OPEN_OPTIONS = {"format_whitelist": _FORMATS, "codec_whitelist": _CODECS, "protocol_whitelist": ""}
#: Frames further apart than this miss something between them. FLAC counts its frames; elsewhere a recorder's
#: clock sets the time stamps, which may waver, and silence in a whole take would do harm.
_LEAST_GAP_S, _LEAST_GAP_FLAC_S = 0.1, 0.01
#: Silence put there: at least a fade, and no more than even a lying time stamp may ask for.
_SILENCE_RANGE_S = (0.02, 10.0)
_HEAD_BYTES = 1 << 18


class DecodingLimits(TypedDict):
    """What the parent allows: `rate_hz` and `channels` are inclusive."""

    rate_hz: tuple[float, float]
    channels: int
    duration_s: float
    memory_bytes: int
    cpu_s: int


class Refusal(Exception):  # noqa: N818  it is an answer, not a fault
    """The file cannot be used: the three parts of the sentence the parent will say."""

    def __init__(self, given: str, allowed: str, nearest: str = NEAREST) -> None:
        super().__init__(given)
        self.parts = {"given": given, "allowed": allowed, "nearest": nearest}


class _Source:
    """stdin without its file number, which PyAV would take for a name."""

    name = ""

    def __init__(self, raw: BinaryIO) -> None:
        self.read, self.seek, self.tell = raw.read, raw.seek, raw.tell


class _Spool:
    """Where the samples go; counts them and stops at the allowed length."""

    def __init__(self, write: Callable[[bytes | memoryview], object], limits: DecodingLimits) -> None:
        self._write, self._limits = write, limits
        self.samples = self.rate_hz = 0

    def add(self, block: bytes | memoryview) -> None:
        self.samples += len(block) // 4
        longest = self._limits["duration_s"]
        if self.samples > longest * self.rate_hz:
            raise Refusal(
                f"more than {longest / 3600:g} h of sound", f"at most {longest / 3600:g} h are read"
            )
        self._write(block)

    @property
    def seconds(self) -> float:
        return self.samples / self.rate_hz if self.samples else 0.0


def decode(
    source: BinaryIO, write: Callable[[bytes | memoryview], object], limits: DecodingLimits
) -> dict[str, object]:
    """Decode one file: samples to `write`, facts or the refusal as the result; bad data raises nothing."""
    try:
        try:
            with av.open(  # the type is InputContainer: the mode is "r"
                _Source(source), mode="r", options=OPEN_OPTIONS, metadata_errors="ignore"
            ) as container:
                return _decode(container, _Spool(write, limits), limits, source)
        except av.FFmpegError as error:
            raise Refusal(
                f"data that cannot be decoded ({error.strerror or type(error).__name__})",
                "a WAV, AIFF, FLAC, MP3, M4A, OGG, WebM, CAF, 3GP or AMR file is needed",
            ) from error
    except Refusal as refusal:
        return {"refused": refusal.parts}


def _decode(
    container: InputContainer, spool: _Spool, limits: DecodingLimits, source: BinaryIO
) -> dict[str, object]:
    stream = _sound_of(container, limits)
    declared_s = _declared_s(container, stream, source)
    longest = limits["duration_s"]
    if declared_s is not None and declared_s > longest:
        raise Refusal(f"a declared length of {declared_s:.6g} s", f"at most {longest:g} s are read")
    mixer, channels = Mixer(), 0
    damage: list[float] = []
    for frame in _frames(container, stream, damage, spool, limits):
        channels = max(channels, frame.layout.nb_channels)
        for block in mixer.mono(frame):
            spool.add(block)
    for block in mixer.rest():
        spool.add(block)
    if not spool.samples:
        raise Refusal("a file without one sample that can be decoded", SOUND_NEEDED)
    return {
        "rate_hz": spool.rate_hz,
        "channels": channels,
        "samples": spool.samples,
        "codec": stream.codec_context.name,
        "container": container.format.name,
        "declared_s": declared_s,
        "damaged_s": damage,
    }


def _sound_of(container: InputContainer, limits: DecodingLimits) -> AudioStream:
    stream = container.streams.best("audio")
    if not isinstance(stream, av.AudioStream):
        raise Refusal("a file without sound", "a file with a sound track is needed")
    context = stream.codec_context
    # PyAV gives no context where FFmpeg found no decoder, whatever its type hints say.
    if context is None or context.name not in _CODECS.split(","):
        name = context.name if context is not None else "unknown or forbidden"
        raise Refusal(
            f"sound in the coding {name}", "allowed are AAC, ALAC, FLAC, MP3, Opus, Vorbis, AMR, PCM"
        )
    _check_rate(context.sample_rate, limits)
    _check_channels(context.channels, limits)
    context.thread_count = THREADS
    if context.name == "flac":
        context.options = {"err_detect": "crccheck+explode"}  # or frames of garbage pass for sound
    return stream


def _check_rate(rate_hz: int, limits: DecodingLimits) -> None:
    low, high = limits["rate_hz"]
    if not low <= rate_hz <= high:
        nearest = f"{min(max(rate_hz, low), high):g} Hz"
        raise Refusal(f"a sample rate of {rate_hz} Hz", f"allowed is from {low:g} to {high:g} Hz", nearest)


def _check_channels(channels: int, limits: DecodingLimits) -> None:
    most = limits["channels"]
    if not 1 <= channels <= most:
        nearest = f"channels: {min(max(channels, 1), most)}"
        raise Refusal(f"a channel count of {channels}", f"allowed are 1 to {most}", nearest)


def _check_frame(frame: AudioFrame, spool: _Spool, limits: DecodingLimits) -> None:
    """A decoder may find another rate or layout in the data than the header promised."""
    _check_channels(frame.layout.nb_channels, limits)
    rate_hz = frame.sample_rate
    if spool.samples and spool.rate_hz != rate_hz:
        raise Refusal(f"a rate that changes from {spool.rate_hz} to {rate_hz} Hz", "one is needed")
    _check_rate(rate_hz, limits)
    spool.rate_hz = rate_hz


def _frames(
    container: InputContainer, stream: AudioStream, damage: list[float], spool: _Spool, limits: DecodingLimits
) -> Iterator[AudioFrame]:
    """Decoded frames; what is missing between them becomes silence and an entry in `damage` (s)."""
    least_gap_s = _LEAST_GAP_FLAC_S if container.format.name == "flac" else _LEAST_GAP_S
    failed, begun, end_s = False, False, 0.0
    for packet in _packets(container, stream, damage, spool):
        try:
            frames = packet.decode()
        except av.FFmpegError:
            failed = True
            damage.append(spool.seconds)
            continue
        for frame in frames:
            _check_frame(frame, spool, limits)
            start_s = end_s if frame.time is None else frame.time
            if not (begun or failed):  # what begins late misses nothing
                end_s = start_s
            gap_s = start_s - end_s
            if failed or gap_s > least_gap_s:
                if not failed:  # FLAC's parser drops what it finds damaged without a word
                    damage.append(spool.seconds)
                low, high = _SILENCE_RANGE_S
                spool.add(bytes(4 * round(min(max(gap_s, low), high) * spool.rate_hz)))
            failed, begun, end_s = False, True, start_s + frame.samples / spool.rate_hz
            yield frame


def _packets(
    container: InputContainer, stream: AudioStream, damage: list[float], spool: _Spool
) -> Iterator[Packet[AudioStream]]:
    try:
        yield from container.demux(stream)
    except av.FFmpegError:
        # What came before still counts; a file with nothing before it is refused for that.
        damage.append(spool.seconds)


def _declared_s(container: InputContainer, stream: AudioStream, source: BinaryIO) -> float | None:
    """The length the file itself declares, or None where FFmpeg only guesses it from the bit rate."""
    name = container.format.name
    if name == "wav":
        return _wav_declares_s(source)  # FFmpeg cuts what the header says to the file's size
    if name in ("aac", "amr") or (name == "mp3" and not _has_length_tag(source)):
        return None
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    return None if container.duration is None else container.duration / av.time_base


def _has_length_tag(source: BinaryIO) -> bool:
    head = _head(source)
    return any(tag in head for tag in (b"Xing", b"Info", b"VBRI"))


def _head(source: BinaryIO) -> bytes:
    place = source.tell()
    source.seek(0)
    head = source.read(_HEAD_BYTES)
    source.seek(place)
    return head


def _wav_declares_s(source: BinaryIO) -> float | None:
    """Length by the header of a WAV; None where a recorder that could not go back left it open."""
    head = _head(source)
    place, bytes_per_s = 12, 0
    while place + 8 <= len(head):
        name, size = unpack_from("<4sI", head, place)
        if name == b"fmt " and place + 20 <= len(head):
            (bytes_per_s,) = unpack_from("<I", head, place + 16)
        if name == b"data":
            return size / bytes_per_s if bytes_per_s and size not in (0, 0xFFFFFFFF) else None
        place += 8 + size + size % 2
    return None
