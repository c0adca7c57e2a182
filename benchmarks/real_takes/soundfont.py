"""Real notes for anybody: the unlooped samples of a sound font, of programs that are one instrument each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from real_takes.sources import source_of
from support.soundfont import SoundFont

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from real_takes.sources import Source

#: Programs of General MIDI (counted from 0), whose samples last a second and more in common free fonts. The
#: strings and the bagpipe are several voices, mistuned against each other: such have no one pitch.
PROGRAMS: Final = {"violin": 40, "sax": 66, "horn": 69}
DRONE_PROGRAMS: Final = {"accordion": 21}
_RANGE_HZ: Final = (150.0, 1300.0)
_SHORTEST_S: Final = 1.0
#: Samples whose partials do not agree on the pitch to this are no single voice.
_AGREE_CENTS: Final = 0.3


def sources_of_soundfont(path: Path, groups: Sequence[str] = tuple(PROGRAMS)) -> Iterator[Source | str]:
    """Its notes as recordings, and why others are left out; the accordion's are the drones."""
    font = SoundFont(path)
    for group, program in ({name: PROGRAMS[name] for name in groups} | DRONE_PROGRAMS).items():
        for sample in font.recordings(program=program):
            kind = " drone" if group in DRONE_PROGRAMS else ""
            source = source_of(f"{group}-{sample.name}{kind}", sample.points, sample.rate_hz)
            if source is None or source.duration_s < _SHORTEST_S:
                yield f"left out: {group}-{sample.name}: too short"
            elif not _RANGE_HZ[0] <= source.hz <= _RANGE_HZ[1]:
                yield f"left out: {group}-{sample.name}: {source.hz:.0f} Hz"
            elif (unsure := source.unsure_cents()) > _AGREE_CENTS:
                yield f"left out: {group}-{sample.name}: its partials disagree by {unsure:.1f} cents"
            else:
                yield source
