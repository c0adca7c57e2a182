"""A spreadsheet's archive looked over before anything in it is believed.

No part may unpack to more than it should, and none may declare a document type: that is what entity bombs and
references to other files begin with. Rows and shared texts are counted on the way, by their tags alone: to
read a million of them takes minutes, to count them a second or two. Guarded by
`tests/faults/test_exchange_fuzz.py` and `tests/web/test_large_files.py`.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections import Counter
from typing import TYPE_CHECKING, BinaryIO, Final

from canebench.base.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

#: All parts together, the texts that are held in memory at once, and how many parts.
_MOST: Final = 1_000_000_000
_MOST_SHARED: Final = 100_000_000
_MOST_PARTS: Final = 1000
#: Rows of numbers pack 40 to 1 at most; nothing but a bomb packs tighter than this.
_MOST_PACKED: Final = 300
_PIECE: Final = 1 << 20
#: So many rows of all sheets are read, and so many shared texts: some half a minute of work.
MOST_ROWS: Final = 300_000
MOST_TEXTS: Final = 1_000_000
#: What is counted of a part, by its name: the tag of each, whatever its namespace is called.
_COUNTED: Final = {
    "worksheets/": ("rows", re.compile(rb"<(?:[\w.-]+:)?row[\s/>]"), MOST_ROWS),
    "sharedstrings": ("texts", re.compile(rb"<(?:[\w.-]+:)?si[\s/>]"), MOST_TEXTS),
}
#: The longest tag that is found across two pieces, bytes.
_SEAM: Final = 64


def checked_archive(name: str, raw: BinaryIO) -> None:
    """An error unless every part may be read."""
    try:
        with zipfile.ZipFile(raw) as archive:
            parts = archive.infolist()
            _check_sizes(name, parts)
            counts = Counter[str]()
            for part in parts:
                _check_part(name, part.filename, _pieces(archive, part), counts)
    except (
        zipfile.BadZipFile,
        zlib.error,
        OSError,
        EOFError,
        ValueError,
        RuntimeError,
        NotImplementedError,
    ) as error:
        raise unreadable(name, str(error)) from error


def unreadable(name: str, why: str) -> InputError:
    """Refusal of a file that is none, or a damaged one."""
    return InputError(field=name, given="its bytes", allowed=f"it is no XLSX that can be read ({why[:200]})")


def _check_sizes(name: str, parts: list[zipfile.ZipInfo]) -> None:
    if len(parts) > _MOST_PARTS:
        raise InputError(field=name, given=f"{len(parts)} parts", allowed=f"at most {_MOST_PARTS} are read")
    whole, packed = sum(part.file_size for part in parts), sum(part.compress_size for part in parts)
    if whole > _MOST or whole > _PIECE + _MOST_PACKED * packed:
        raise InputError(
            field=name,
            given=f"{whole / 1e6:.0f} MB once unpacked",
            allowed=f"at most {_MOST // 10**6} MB, and {_MOST_PACKED} times the packed size, are read",
        )
    for part in parts:
        if "sharedstrings" in part.filename.lower() and part.file_size > _MOST_SHARED:
            raise InputError(
                field=name,
                given=f"{part.file_size / 1e6:.0f} MB of texts",
                allowed=f"at most {_MOST_SHARED // 10**6} MB are read",
            )


def _pieces(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> Iterator[bytes]:
    with archive.open(part) as stream:
        while piece := stream.read(_PIECE):
            yield piece


def _check_part(name: str, part: str, pieces: Iterator[bytes], counts: Counter[str]) -> None:
    counted = [one for within, one in _COUNTED.items() if within in part.lower()]
    last = b""
    for piece in pieces:
        # Without zero bytes the words read alike in UTF-8 and UTF-16.
        bare = last + piece.replace(b"\0", b"")
        if b"<!DOCTYPE" in bare or b"<!ENTITY" in bare:
            raise InputError(
                field=name,
                given=f"a document type in {part}"[:100],
                allowed="a spreadsheet has none: save it anew",
            )
        for what, tag, most in counted:
            # What stands whole in the seam was counted with the piece before.
            counts[what] += len(tag.findall(bare)) - len(tag.findall(last))
            if counts[what] > most:
                raise InputError(
                    field=name,
                    given=f"more than {most} {what}",
                    allowed=f"at most {most} {what} are read of an XLSX",
                    nearest="the same rows as CSV, a file for each table",
                )
        last = bare[-_SEAM:]
