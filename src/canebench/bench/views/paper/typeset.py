"""Print: a template of ours and somebody's data become a PDF, written whole or not at all.

What people typed goes in as data, JSON among the inputs of the compiler, and never into a template's text:
no name can act as code. Guarded by `tests/doors/test_cards.py`.
"""

from __future__ import annotations

import json
import re
from importlib.resources import files
from io import BytesIO
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import segno
import typst

from canebench.base.errors import InputError
from canebench.picture.lettering import printable

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.bench.acts.band import PaperName

#: Papers by the name that the compiler has for them.
PAPER_NAMES: Final[Mapping[PaperName, str]] = MappingProxyType({"A4": "a4", "Letter": "us-letter"})
#: A page's own colours for our pictures mean nothing to a printer.
_PAGE_COLOUR: Final = re.compile(r"var\(--beam-[a-z]+, (#[0-9a-f]{6})\)")
#: A code that a telephone reads holds little more than this when it is printed 15 mm wide.
_LONGEST_CODE: Final = 250


def typeset_pdf(template: str, data: Mapping[str, object]) -> bytes:
    """The PDF, tagged, with the promises of PDF/UA-1 where the fonts at hand have every letter."""
    source, inputs = _source(template), _inputs(data)
    try:
        made = typst.compile(source, format="pdf", sys_inputs=inputs, pdf_standards="ua-1")
    except typst.TypstError as error:
        if "could not be displayed" not in str(error):
            raise
        made = typst.compile(source, format="pdf", sys_inputs=inputs)
    if not isinstance(made, bytes):
        raise TypeError("the compiler wrote no single file")
    return made


def shortened(text: object, most: int) -> str:
    """Text on one line, without what no printer has, cut to `most` characters with "…"."""
    said = printable(str(text))
    return said if len(said) <= most else said[: most - 1].rstrip() + "…"


def for_print(svg: str) -> str:
    """A picture of ours in its plain colours."""
    return _PAGE_COLOUR.sub(r"\1", svg)


def code_svg(text: str) -> str:
    """A QR code of `text` with its quiet zone, as SVG; too long a text is an `InputError`."""
    if len(text.encode()) > _LONGEST_CODE * 4 or len(text) > _LONGEST_CODE:
        raise InputError(
            field="code to print",
            given=f"{len(text)} characters",
            allowed=f"at most {_LONGEST_CODE} are read",
        )
    out = BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", border=4, xmldecl=False, dark="#000")
    return out.getvalue().decode()


def _source(template: str) -> bytes:
    return files("canebench.bench.views.paper").joinpath("templates", template).read_bytes()


def _inputs(data: Mapping[str, object]) -> dict[str, str]:
    return {"data": json.dumps(data, ensure_ascii=False, allow_nan=False)}
