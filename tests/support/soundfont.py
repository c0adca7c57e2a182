"""Exact pitch of a sound-font voice, from the sample's own loop (SoundFont 2.04, sections 7 and 8).

A loop of L sample points that holds P periods, recorded at sr Hz and shifted by c cents, repeats for ever
with f0 = P sr / L 2^(c / 1200): a truth that no pitch estimator had a hand in.
"""

from __future__ import annotations

import mmap
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.base.arrays import FloatArray

# Generators (section 8.1.2).
_LOOP_FINE, _LOOP_END_FINE, _LOOP_COARSE, _LOOP_END_COARSE = 2, 3, 45, 50
_INSTRUMENT, _KEYS, _SAMPLE = 41, 43, 53
_COARSE, _FINE, _MODES, _SCALE_TUNING, _ROOT = 51, 52, 54, 56, 58
#: Low-frequency oscillators and the envelope on the pitch: a voice that has them has no constant f0.
_PITCH_MOVERS = (5, 6, 7)
_SIGNED = {*_PITCH_MOVERS, _COARSE, _FINE, _LOOP_FINE, _LOOP_END_FINE, _LOOP_COARSE, _LOOP_END_COARSE}
_COARSE_STEP = 32_768
#: Types of sample (section 7.10).
_MONO, _LEFT = 1, 4

Generators = dict[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class FontVoice:
    """One sample as one key plays it: its loop, its rate and the shift that key and zones apply."""

    sample: str
    loop: FloatArray
    rate_hz: int
    shift_cents: float

    @property
    def periods(self) -> int:
        """Periods in the loop: the common measure of the loop's harmonics that are not noise."""
        level = np.abs(np.fft.rfft(self.loop))
        level[0] = 0.0
        return int(np.gcd.reduce(np.flatnonzero(level > 0.1 * level.max())))

    @property
    def hz(self) -> float:
        """The exact fundamental, Hz."""
        return float(self.periods * self.rate_hz / len(self.loop) * 2 ** (self.shift_cents / 1200))


@dataclass(frozen=True, slots=True, kw_only=True)
class FontSample:
    """A sample as it was recorded: attack and natural sustain up to the loop's end, nothing repeated."""

    name: str
    points: FloatArray
    rate_hz: int


class SoundFont:
    """The tables of a sound font file; samples are read when a voice asks for them."""

    def __init__(self, path: Path) -> None:
        with path.open("rb") as file:
            self._data = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
        self._chunks: dict[bytes, tuple[int, int]] = {}
        #: Every key asks for the same tables.
        self._tables: dict[str, list[tuple]] = {}  # type: ignore[type-arg]
        self._walk(12, len(self._data))

    def voices(self, *, program: int, key: int) -> list[FontVoice]:
        """Every sample that `key` of `program` (bank 0, counted from 0) sounds."""
        presets = self._zones("phdr", "<20sHHHIII", "pbag", "pgen", self._preset(program), key, _INSTRUMENT)
        return [
            self._voice(preset, zone, key)
            for preset in presets
            for zone in self._zones("inst", "<20sH", "ibag", "igen", preset[_INSTRUMENT], key, _SAMPLE)
        ]

    def recordings(self, *, program: int) -> list[FontSample]:
        """Every sample of `program` (bank 0, counted from 0), the left one of a pair, in order of keys."""
        found: dict[int, FontSample] = {}
        begin = self._chunks[b"smpl"][0]
        headers = self._rows("shdr", "<20sIIIIIBbHH")
        for key in range(128):
            presets = self._zones(
                "phdr", "<20sHHHIII", "pbag", "pgen", self._preset(program), key, _INSTRUMENT
            )
            for preset in presets:
                for zone in self._zones("inst", "<20sH", "ibag", "igen", preset[_INSTRUMENT], key, _SAMPLE):
                    name, start, end, _, loop_end, rate, *_, kind = headers[zone[_SAMPLE]]
                    last = loop_end if start < loop_end <= end else end
                    points = np.frombuffer(self._data[begin + 2 * start : begin + 2 * last], dtype="<i2")
                    if kind in (_MONO, _LEFT):
                        found[zone[_SAMPLE]] = FontSample(
                            name=name.rstrip(b"\0").decode("ascii"), points=points / 32_768, rate_hz=rate
                        )
        return list(found.values())

    def _voice(self, preset: Generators, zone: Generators, key: int) -> FontVoice:
        assert zone.get(_MODES, 0) in (1, 3), "the sample does not loop"
        assert not any(zone.get(g, 0) + preset.get(g, 0) for g in _PITCH_MOVERS), "the pitch moves"
        header = self._rows("shdr", "<20sIIIIIBbHH")[zone[_SAMPLE]]
        name, _, _, loop, end, rate, root, correction, *_ = header
        loop += zone.get(_LOOP_FINE, 0) + _COARSE_STEP * zone.get(_LOOP_COARSE, 0)
        end += zone.get(_LOOP_END_FINE, 0) + _COARSE_STEP * zone.get(_LOOP_END_COARSE, 0)
        tuning = zone.get(_SCALE_TUNING, 100) + preset.get(_SCALE_TUNING, 0)
        semitones = zone.get(_COARSE, 0) + preset.get(_COARSE, 0)
        cents = zone.get(_FINE, 0) + preset.get(_FINE, 0) + correction
        begin = self._chunks[b"smpl"][0]
        points = np.frombuffer(self._data[begin + 2 * loop : begin + 2 * end], dtype="<i2")
        return FontVoice(
            sample=name.rstrip(b"\0").decode("ascii"),
            loop=points.astype(float),
            rate_hz=rate,
            shift_cents=(key - zone.get(_ROOT, root)) * tuning + 100 * semitones + cents,
        )

    def _preset(self, program: int) -> int:
        rows = self._rows("phdr", "<20sHHHIII")
        (index,) = [i for i, row in enumerate(rows) if row[1:3] == (program, 0)]
        return index

    def _zones(
        self, heads: str, head: str, bags: str, gens: str, index: int, key: int, target: int
    ) -> list[Generators]:
        """The zones that `key` falls in, each over the global zone's defaults."""
        place = 3 if heads == "phdr" else 1
        rows, bag, gen = self._rows(heads, head), self._rows(bags, "<HH"), self._rows(gens, "<HH")
        common: Generators = {}
        found = []
        for zone in range(rows[index][place], rows[index + 1][place]):
            own = {op: _amount(op, raw) for op, raw in gen[bag[zone][0] : bag[zone + 1][0]]}
            low, high = own.get(_KEYS, 127 << 8) & 255, own.get(_KEYS, 127 << 8) >> 8
            if target not in own:
                common = own
            elif low <= key <= high:
                found.append(common | own)
        return found

    def _rows(self, chunk: str, layout: str) -> list[tuple]:  # type: ignore[type-arg]
        if chunk not in self._tables:
            begin, size = self._chunks[chunk.encode()]
            self._tables[chunk] = list(struct.iter_unpack(layout, self._data[begin : begin + size]))
        return self._tables[chunk]

    def _walk(self, at: int, end: int) -> None:
        while at + 8 <= end:
            name, size = struct.unpack_from("<4sI", self._data, at)
            if name == b"LIST":
                self._walk(at + 12, at + 8 + size)
            else:
                self._chunks[name] = (at + 8, size)
            at += 8 + size + size % 2


def _amount(operator: int, raw: int) -> int:
    return raw - 65_536 if operator in _SIGNED and raw >= 32_768 else raw
