"""The page's scripts, styles and templates can be read: short lines, and HTML in templates alone.

Holds without Node.js; what ESLint and Prettier hold besides is in `scripts/front`.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import canebench

_WEB = Path(canebench.__file__).parent / "web"
_MOST_LETTERS = 120
#: A comment, or a text in which what looks like a comment is none.
_COMMENT_OR_TEXT = re.compile(
    r"""//[^\n]*|/\*.*?\*/|("(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*'|`(?:\\.|[^`\\])*`)""", re.DOTALL
)
#: The formatter sets spaces round "less than": a letter right after it begins a tag.
_TAG = re.compile(r"<[/!]?[A-Za-z][^\n]{0,30}")
_FROM_TEXT = re.compile(r"\b(?:innerHTML|outerHTML|insertAdjacentHTML|setHTMLUnsafe|document\.write\w*)\b")


def _files(*endings: str) -> dict[str, str]:
    """Ours by path; what others wrote is kept as it came."""
    return {
        path.relative_to(_WEB).as_posix(): path.read_text(encoding="utf-8")
        for path in sorted(_WEB.rglob("*"))
        if path.suffix in endings and "vendor" not in path.parts
    }


def _too_wide(sources: dict[str, str]) -> list[str]:
    return [
        f"{path}:{number}"
        for path, text in sources.items()
        for number, line in enumerate(text.splitlines(), 1)
        if len(line) > _MOST_LETTERS
    ]


def _markup(sources: dict[str, str]) -> list[str]:
    """Tags in scripts, and whatever makes elements from text."""
    found = []
    for path, text in sources.items():
        bare = _COMMENT_OR_TEXT.sub(lambda match: match[1] or "", text)
        found += [f"{path}: {tag}" for tag in [*_TAG.findall(bare), *_FROM_TEXT.findall(bare)]]
    return found


def test_no_line_of_the_page_is_too_wide() -> None:
    sources = _files(".html", ".css", ".js")
    assert len(sources) > 30
    assert _too_wide(sources) == []


def test_a_line_too_wide_is_noticed() -> None:
    """Control."""
    assert _too_wide({"a.css": "x" * _MOST_LETTERS + "\n" + "y" * (_MOST_LETTERS + 1)}) == ["a.css:2"]


def test_scripts_hold_no_html() -> None:
    sources = _files(".js")
    assert len(sources) >= 6
    assert _markup(sources) == []


@pytest.mark.parametrize(
    ("script", "found"),
    [
        ('const a = "<p>said</p>";', 1),
        ("const a = `\n  <live-take data-reed='1'>`;", 1),
        ('const a = "https://a.example/" + "<br>";', 1),
        ("place.innerHTML = said;", 1),
        ('place.insertAdjacentHTML("beforeend", said);', 1),
        ("// <live-take>: listens\nif (level < least) stop();\n/* <p> */", 0),
    ],
)
def test_html_in_a_script_is_noticed(script: str, found: int) -> None:
    """Control: each way, and what is none of them."""
    assert len(_markup({"a.js": script})) == found
