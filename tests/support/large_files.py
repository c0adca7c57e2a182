"""Large lists of reeds as files, and how long another reader of the bench waits while one is looked over."""

from __future__ import annotations

import io
import threading
import time
import zipfile
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    from support.plain_browser import PlainBrowser

#: So many reeds of a lot.
_BOX: Final = 1_000
_MAIN: Final = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OF: Final = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_LINKS: Final = "http://schemas.openxmlformats.org/package/2006/relationships"
_KIND: Final = "application/vnd.openxmlformats-"
_SHEET_KIND: Final = f"{_KIND}officedocument.spreadsheetml"
_FRAME: Final = {
    "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    f'<Default Extension="rels" ContentType="{_KIND}package.relationships+xml"/>'
    f'<Override PartName="/xl/workbook.xml" ContentType="{_SHEET_KIND}.sheet.main+xml"/>'
    f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_SHEET_KIND}.worksheet+xml"/>'
    f'<Override PartName="/xl/sharedStrings.xml" ContentType="{_SHEET_KIND}.sharedStrings+xml"/></Types>',
    "_rels/.rels": f'<Relationships xmlns="{_LINKS}">'
    f'<Relationship Id="r1" Type="{_OF}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_OF}"><sheets>'
    '<sheet name="reeds" sheetId="1" r:id="r1"/></sheets></workbook>',
    "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_LINKS}">'
    f'<Relationship Id="r1" Type="{_OF}/worksheet" Target="worksheets/sheet1.xml"/>'
    f'<Relationship Id="r2" Type="{_OF}/sharedStrings" Target="sharedStrings.xml"/></Relationships>',
}


def csv_of(rows: int) -> bytes:
    """A plain list of so many reeds."""
    lines = "".join(f"n{n},box {n // _BOX},new\r\n" for n in range(rows))
    return f"number,lot,state\r\n{lines}".encode()


def xlsx_of(rows: int, *, texts: int = 0) -> bytes:
    """The same as a workbook, all its texts shared, with so many more that no cell uses."""
    shared = ["number", "lot", "state", "new", *(f"n{n}" for n in range(rows))]
    box = len(shared)
    shared += [f"box {n}" for n in range(1 + rows // _BOX)]
    shared += [f"unused {n}" for n in range(texts)]
    lines = "".join(_line(n + 2, (n + 4, box + n // _BOX, 3)) for n in range(rows))
    held = "".join(f"<si><t>{text}</t></si>" for text in shared)
    parts = {
        **_FRAME,
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{_MAIN}"><sheetData>{_line(1, (0, 1, 2))}{lines}'
        "</sheetData></worksheet>",
        "xl/sharedStrings.xml": f'<sst xmlns="{_MAIN}">{held}</sst>',
    }
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return made.getvalue()


def _line(number: int, texts: tuple[int, int, int]) -> str:
    cells = (
        f'<c r="{column}{number}" t="s"><v>{text}</v></c>' for column, text in zip("ABC", texts, strict=True)
    )
    return f'<row r="{number}">{"".join(cells)}</row>'


@dataclass(slots=True)
class Waits:
    """How long each page took that somebody else asked for meanwhile, s."""

    pages_s: list[float] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)

    @property
    def longest_s(self) -> float:
        """The worst of it."""
        return max(self.pages_s, default=0.0)


@contextmanager
def another_reader(browser: PlainBrowser, *pages: str) -> Iterator[Waits]:
    """Pages asked for one after the other, with a little pause, until the end of the block."""
    over, waits, tab = threading.Event(), Waits(), browser.twin()

    def read() -> None:
        count = 0
        while not over.wait(0.02):
            path, begun = pages[count % len(pages)], time.monotonic()
            status, _, _ = tab.ask("GET", path)
            waits.pages_s.append(time.monotonic() - begun)
            if status != 200:
                waits.failed.append(f"{path}: {status}")
            count += 1

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    try:
        yield waits
    finally:
        over.set()
        reader.join()
