"""Texts that would run as a script if a page, card or export took them for more than text.

Made from ways out of a place (text, attribute, URL, script data, template, SVG, spreadsheet) and things to do
there; each calls `ran(...)`, which a test can see.
"""

from __future__ import annotations

from itertools import cycle, islice, product
from typing import Final

_OUT: Final = (
    "",
    '">',
    "'>",
    '"><',
    "</title>",
    "</option></select>",
    "</script>",
    "</textarea>",
    "</td></tr></table>",
    "--></style>",
    "]]>",
    '" ',
    "' ",
    "</svg>",
    "<!--",
    "\\u003c/script\\u003e",
)
_THERE: Final = (
    "<script>ran({n})</script>",
    "<img src=x onerror=ran({n})>",
    "<svg onload=ran({n})>",
    "<svg><script>ran({n})</script></svg>",
    "<iframe srcdoc='<script>parent.ran({n})</script>'></iframe>",
    "<details open ontoggle=ran({n})>",
    "<a href=javascript:ran({n})>x</a>",
    "<math><mi//xlink:href='data:x,<script>ran({n})</script>'>",
    "onfocus=ran({n}) autofocus=",
    "onmouseover=ran({n}) x=",
    "javascript:ran({n})",
    "{{{{ 7*{n} }}}}{{% raw %}}",
    "${{ran({n})}}`${{ran({n})}}`",
    '=HYPERLINK("javascript:ran({n})")',
    "@SUM(1+1)*cmd|' /C ran{n}'!A0",
    "<style>@import'javascript:ran({n})';</style>",
    "<body onload=ran({n})>",
    "<input autofocus onfocus=ran({n})>",
    "<object data=javascript:ran({n})>",
    "<base href=//canebench.example/>{n}",
    '#import "x{n}.typ"; #eval("1")',
)
COUNT: Final = 200


def payloads() -> list[str]:
    """Two hundred, all different; every way out and every thing to do is among them."""
    pairs = list(product(range(len(_OUT)), range(len(_THERE))))
    # A step that shares no factor with the number of pairs visits each, and mixes both lists early.
    chosen = [pairs[i * 97 % len(pairs)] for i in islice(cycle(range(len(pairs))), COUNT)]
    return [_OUT[a] + _THERE[b].format(n=n) for n, (a, b) in enumerate(chosen)]
