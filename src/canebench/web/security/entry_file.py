"""The sign-in link handed to a browser by a file for its owner alone, and not as an argument of its process.

What a process was started with, every user of a machine may read. Guarded by `tests/web/test_entry_file.py`.
"""

from __future__ import annotations

import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

from canebench.base.disk.owner_only import make_file

if TYPE_CHECKING:
    from collections.abc import Iterator

#: Where these are, the browser may be confined so that it reads no files of other programs.
_CONFINED: Final = (
    Path("/snap/bin"),
    Path("/var/lib/flatpak/app"),
    Path.home() / ".local" / "share" / "flatpak" / "app",
)
_PAGE: Final = """<!doctype html><html lang="en"><meta charset="utf-8">
<meta name="referrer" content="no-referrer"><meta http-equiv="refresh" content="0;url={link}">
<title>The bench</title><p><a href="{link}">To the bench</a></p></html>
"""


@contextmanager
def addresses() -> Iterator[EntryFiles]:
    """What a browser may be started with; gone with the server."""
    folder = Path(tempfile.mkdtemp(prefix="canebench-"))
    try:
        yield EntryFiles(folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


class EntryFiles:
    """Pages in a private folder that lead to a link each."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def address_for(self, link: str) -> str:
        """The address of a file that leads to `link`; the link itself where browsers are confined."""
        if any(place.exists() for place in _CONFINED):
            return link
        path = self.folder / "open.html"
        path.unlink(missing_ok=True)
        make_file(path)
        path.write_text(_PAGE.format(link=link), encoding="utf-8")
        return path.as_uri()
