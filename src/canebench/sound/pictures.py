"""A take to look at: its waveform, and its spectrogram in greys up to 4 kHz.

Guarded by `tests/analytic/test_pictures.py`.
"""

from __future__ import annotations

import struct
import zlib
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.sound.dsp.decimation import sections
from canebench.sound.dsp.stft import frames_of

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.files.recording import Recording

TOP_HZ: Final = 4_000.0
#: From the loudest down to this many dB below it.
_RANGE_DB: Final = 70.0
_MOST_COLUMNS: Final = 1_400


def spectrogram_png(recording: Recording) -> bytes:
    """Time along, frequency up to 4 kHz, the loudest black: a PNG of 8-bit greys.

    Parameters
    ----------
    recording : Recording
        A take of any length.

    Returns
    -------
    bytes
        A PNG at most 1400 columns wide, down to 70 dB below the loudest. Guarded by
        `tests/analytic/test_pictures.py`.
    """
    levels = [np.abs(frames_of(section).spectrum) for section in sections(recording)]
    bin_hz = frames_of(next(iter(sections(recording)))).bin_hz
    level = np.concatenate(levels)[:, : max(2, int(TOP_HZ / bin_hz))]
    step = -(-len(level) // _MOST_COLUMNS)
    level = np.stack([np.max(level[i : i + step], axis=0) for i in range(0, len(level), step)])
    decibels = 20 * np.log10(level / max(float(level.max()), 1e-9) + 1e-9)
    grey = np.clip(-decibels / _RANGE_DB, 0, 1) * 255
    return _png(grey.T[::-1].astype(np.uint8))


def waveform(recording: Recording, columns: int) -> FloatArray:
    """Lowest and highest sample in each of so many equal parts [shape=(columns, 2)].

    Parameters
    ----------
    recording : Recording
        A take with a sample at least.
    columns : int >= 1
        How many parts; no more than there are samples.

    Returns
    -------
    array (columns, 2)
        Full scale is ±1.
    """
    samples = np.asarray(recording.samples, dtype=np.float64)
    parts = np.array_split(samples, min(columns, max(1, len(samples))))
    return np.array([(part.min(), part.max()) for part in parts])


def _png(grey: np.ndarray[tuple[int, ...], np.dtype[np.uint8]]) -> bytes:
    """An 8-bit greyscale PNG (ISO/IEC 15948, sections 11.2.2 to 11.2.5), each row unfiltered."""
    height, width = grey.shape
    rows = np.concatenate([np.zeros((height, 1), np.uint8), grey], axis=1).tobytes()
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    parts = ((b"IHDR", header), (b"IDAT", zlib.compress(rows, 6)), (b"IEND", b""))
    chunks = (
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in parts
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)
