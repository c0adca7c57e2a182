"""A recording: samples with the rate they were taken at, and where they came from."""

from __future__ import annotations

import mmap
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from canebench.base.arrays import SampleArray
    from canebench.base.finding import Finding

RATE_RANGE_HZ = (8_000.0, 192_000.0)
_BLOCK = 1 << 18


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """One take, mono.

    Parameters
    ----------
    samples : float32 array [shape=(n,)]
        Full scale is ±1; read-only. It may lie over a spooled file (`spool`), so that half an hour of
        sound need not stay in memory: walk it with `blocks`.
    rate_hz : number, 8 000 to 192 000
        Samples per second. It has no default: a wrong rate transposes every note.
    origin : str
        File name or "synth", for the reader.
    findings : tuple of Finding
        What decoding noticed, such as a file shorter than it declares.

    Guarded by `tests/invariants/test_recording.py`.
    """

    samples: SampleArray
    rate_hz: float
    origin: str
    findings: tuple[Finding, ...] = ()
    spool: mmap.mmap | None = None

    def __post_init__(self) -> None:
        low, high = RATE_RANGE_HZ
        if not low <= self.rate_hz <= high:
            raise InputError(
                field="sample rate",
                given=f"{self.rate_hz:g} Hz",
                allowed=f"from {low:g} to {high:g} Hz",
                nearest=f"{min(max(self.rate_hz, low), high):g} Hz",
            )
        if self.samples.ndim != 1 or self.samples.dtype != np.float32:
            raise InputError(
                field="samples",
                given=f"{self.samples.dtype} array of shape {self.samples.shape}",
                allowed="one channel of float32 is needed",
                nearest="samples.mean(axis=channels).astype(numpy.float32)",
            )
        view = self.samples.view()
        view.flags.writeable = False
        object.__setattr__(self, "samples", view)

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.rate_hz

    def blocks(self, size: int = _BLOCK) -> Iterator[SampleArray]:
        """Successive views of `size` samples; pages of a spooled file are given back after each."""
        for start in range(0, len(self.samples), size):
            yield self.samples[start : start + size]
            if self.spool is not None:
                self.spool.madvise(mmap.MADV_DONTNEED)
