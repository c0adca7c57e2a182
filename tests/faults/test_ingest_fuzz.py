"""Damaged sound files by the thousand: each is read or refused, none crashes, hangs or floods the decoder.

Every mutant follows from its seed file's name and its number, so a failure names what to run again. More of
them: `--fuzz-count 1000000`.
"""

from __future__ import annotations

import math
import re
import sys
import zlib
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.errors import DecodeError
from canebench.sound.files.decode import MAX_SAMPLE
from support.decoder import Decoder, DecoderDied
from support.lies import mended_ogg
from support.loads import times
from support.soundfiles import KINDS, tone_file

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

FAULTY = (sys.executable, "-P", str(Path(__file__).with_name("faulty_child.py")))
SEEDS = {name: tone_file(name, rate_hz=kind.rates_hz[0], duration_s=0.15) for name, kind in KINDS.items()}
_HEADER = 256
#: Numbers that header fields like to be wrong with.
_EDGES = (0, 1, 2, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFE, 0xFFFFFFFF)


def _place(rng: np.random.Generator, data: bytearray) -> int:
    """Somewhere in the file; half of the time in its header, where lies do most."""
    end = min(_HEADER, len(data)) if rng.random() < 0.5 else len(data)
    return int(rng.integers(end)) if end else 0


def _flip(rng: np.random.Generator, data: bytearray) -> None:
    for _ in range(int(2 ** rng.uniform(0, 6))):
        if data:
            data[_place(rng, data)] ^= 1 << int(rng.integers(8))


def _lie(rng: np.random.Generator, data: bytearray) -> None:
    width = int(rng.choice([1, 2, 4, 8]))
    value = _EDGES[int(rng.integers(len(_EDGES)))] % 256**width
    place = _place(rng, data)
    data[place : place + width] = value.to_bytes(width, "big" if rng.random() < 0.5 else "little")


def _cut(rng: np.random.Generator, data: bytearray) -> None:
    del data[_place(rng, data) :]


def _remove(rng: np.random.Generator, data: bytearray) -> None:
    place = _place(rng, data)
    del data[place : place + int(2 ** rng.uniform(0, 12))]


def _repeat(rng: np.random.Generator, data: bytearray) -> None:
    place = _place(rng, data)
    data[place:place] = data[place : place + int(2 ** rng.uniform(0, 12))]


def _splice(rng: np.random.Generator, data: bytearray) -> None:
    other = SEEDS[str(rng.choice(list(SEEDS)))]
    place, start = _place(rng, data), int(rng.integers(len(other)))
    data[place : place + int(2 ** rng.uniform(0, 12))] = other[start : start + int(2 ** rng.uniform(0, 12))]


_DAMAGE: tuple[Callable[[np.random.Generator, bytearray], None], ...] = (
    _flip, _flip, _lie, _lie, _cut, _remove, _repeat, _splice,
)  # fmt: skip


def mutant(name: str, number: int) -> bytes:
    """The seed file `name` with one to three kinds of damage."""
    rng = np.random.default_rng([zlib.crc32(name.encode()), number])
    data = bytearray(SEEDS[name])
    for kind in rng.integers(len(_DAMAGE), size=int(rng.integers(1, 4))):
        _DAMAGE[kind](rng, data)
    # Pages with a wrong checksum are passed over: half of the time the damage is to get further.
    return mended_ogg(bytes(data)) if name.startswith("ogg") and number % 2 else bytes(data)


@pytest.fixture(scope="module")
def decoder() -> Iterator[Decoder]:
    with Decoder() as running:
        yield running


@pytest.mark.parametrize("name", SEEDS)
def test_damaged_files_are_read_or_refused(name: str, decoder: Decoder, pytestconfig: pytest.Config) -> None:
    sentences: list[str] = []
    read = 0
    wanted = pytestconfig.getoption("--fuzz-count") or times(20_000, usual=8_000)
    for number in range(math.ceil(wanted / len(SEEDS))):
        try:
            recording = decoder.read(mutant(name, number), origin=f"{name} {number}")
        except DecodeError as error:
            sentences.append(str(error))
        else:
            read += 1
            assert len(recording.samples)
            assert float(np.max(np.abs(recording.samples))) <= MAX_SAMPLE
    assert decoder.note_peak() <= 512 * 1024
    assert all(
        re.match(rf"{name} \d+: .+ was given; .+ Nearest that works: .+\.$", said) for said in sentences
    )
    # Damage that never mattered, or left nothing, would try nothing.
    assert read
    assert sentences


def test_ogg_is_mended_as_ogg_is_made() -> None:
    """A whole file keeps its bytes; a damaged one gets another checksum."""
    whole = SEEDS["ogg-opus"]
    assert mended_ogg(whole) == whole
    damaged = whole[:-1] + bytes([whole[-1] ^ 1])
    assert mended_ogg(damaged) != damaged


def test_the_seeds_are_sound(decoder: Decoder) -> None:
    assert len(SEEDS) == 13
    for name, data in SEEDS.items():
        assert decoder.read(data, origin=name).findings == ()


@pytest.mark.parametrize(
    ("fault", "cause", "hang_s"),
    [("segv", "EOFError", 60.0), ("hang", "TimeoutError", 0.5), ("malloc", "EOFError", 60.0)],
)
def test_a_crash_or_hang_would_be_seen(fault: str, cause: str, hang_s: float) -> None:
    """Control: a decoder with a fault is caught, the file is named, and the next one is tried.

    A crash comes at once, but on a busy machine the process that is to crash takes a while to start.
    """
    with Decoder([*FAULTY, fault], hang_s=hang_s) as faulty:
        for name in ("flac", "mp3"):
            with pytest.raises(DecoderDied, match=f"{name}: {cause}"):
                faulty.read(SEEDS[name], origin=name)
