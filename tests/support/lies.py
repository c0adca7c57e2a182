"""Sound files that lie about what they hold, byte by byte."""

from __future__ import annotations

from functools import cache
from struct import pack
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

_FLAC_BLOCK = 65_535


def wav(
    data: bytes,
    *,
    rate_hz: int = 48_000,
    channels: int = 1,
    bits: int = 16,
    form: int = 1,
    claim: int | None = None,
) -> bytes:
    """A WAV with these header fields, true or not; `form` 1 is whole numbers, 3 floats."""
    size = len(data) if claim is None else claim
    frame = channels * bits // 8 % 65_536
    second = rate_hz * frame % 2**32
    head = pack("<4sI4s4sI", b"RIFF", min(size + 36, 2**32 - 1), b"WAVE", b"fmt ", 16)
    return head + pack("<HHIIHH4sI", form, channels, rate_hz, second, frame, bits, b"data", size) + data


def flac_claiming(flac: bytes, samples: int) -> bytes:
    """The FLAC file with another total in its first block (36 bits at byte 21)."""
    field = int.from_bytes(flac[21:26], "big") >> 36 << 36
    return flac[:21] + (field | samples).to_bytes(5, "big") + flac[26:]


def mp3_claiming(mp3: bytes, frames: int) -> bytes:
    """The MP3 file with another number of frames in its Xing tag."""
    place = max(mp3.find(b"Xing"), mp3.find(b"Info"))
    assert place > 0
    return mp3[: place + 8] + frames.to_bytes(4, "big") + mp3[place + 12 :]


def silent_flac(duration_s: float, *, declared: bool) -> bytes:
    """Silence at 8 kHz in 16 bytes for each 8 s: a bomb of about 1 : 65 000."""
    count = round(duration_s * 8_000 / _FLAC_BLOCK)
    total = count * _FLAC_BLOCK if declared else 0
    fields = 8_000 << 44 | 0 << 41 | 15 << 36 | total
    info = pack(">HH", _FLAC_BLOCK, _FLAC_BLOCK) + bytes(6) + fields.to_bytes(8, "big") + bytes(16)
    return b"fLaC" + b"\x80\x00\x00\x22" + info + b"".join(_silent_frames(count))


def mended_ogg(data: bytes) -> bytes:
    """The Ogg file with the checksum of each page made to fit, so that damage passes for truth."""
    out, place = bytearray(data), data.find(b"OggS")
    while place >= 0:
        after = data.find(b"OggS", place + 4)
        page = out[place : after if after >= 0 else len(out)]
        if len(page) >= 26:
            page[22:26] = bytes(4)
            out[place + 22 : place + 26] = _crc(bytes(page), 32, 0x04C11DB7).to_bytes(4, "little")
        place = after
    return bytes(out)


def _silent_frames(count: int) -> Iterator[bytes]:
    """Frames by the FLAC format (RFC 9639, section 9): 8 kHz, mono, 16 bits, one constant subframe."""
    for number in range(count):
        head = (
            b"\xff\xf8\x74\x08" + chr(number).encode("utf-8", "surrogatepass") + pack(">H", _FLAC_BLOCK - 1)
        )
        frame = head + bytes([_crc(head, 8, 0x07)]) + b"\x00\x00\x00"
        yield frame + _crc(frame, 16, 0x8005).to_bytes(2, "big")


def _crc(data: bytes, width: int, polynomial: int) -> int:
    """A checksum of `width` bits, highest bit first, from 0."""
    value, mask, table = 0, (1 << width) - 1, _crc_table(width, polynomial)
    for byte in data:
        value = (value << 8 & mask) ^ table[value >> width - 8 ^ byte]
    return value


@cache
def _crc_table(width: int, polynomial: int) -> tuple[int, ...]:
    rows, top = [], 1 << width - 1
    for byte in range(256):
        value = byte << width - 8
        for _ in range(8):
            value = (value << 1 ^ (polynomial if value & top else 0)) & (top << 1) - 1
        rows.append(value)
    return tuple(rows)
