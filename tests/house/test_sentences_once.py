"""What is said to people is written down once: no sentence of six words stands in two places."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from pathlib import Path

import canebench

_SRC = Path(canebench.__file__).parent
_LEAST_WORDS = 6
_SQL = re.compile(r"\b(SELECT|INSERT|UPDATE|DELETE|FROM|WHERE)\b")
#: Advice and rows are being made anew there: these still stand twice, and none may be added.
_STILL_TWICE = frozenset(
    {
        "a whole number from 0 to",
        "lies in the bin: undo its removal first.",
        "Change nothing and record it once more.",
        "Old tape and its residue off first, or the strip will creep.",
        "The octave is right but the whole chanter is",
        "are the most in a reed's life.",
    }
)


def _said(text: str) -> set[tuple[int, str]]:
    """Texts of six words or more by their line, docstrings and SQL left out, pieces of f-strings each."""
    tree = ast.parse(text)
    told = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in told:
            words = node.value.split()
            if len(words) >= _LEAST_WORDS and not _SQL.search(node.value):
                found.add((node.lineno, " ".join(words)))
    return found


def _twice(sources: dict[str, str]) -> dict[str, list[str]]:
    places = defaultdict(list)
    for path, text in sources.items():
        for line, said in sorted(_said(text)):
            places[said].append(f"{path}:{line}")
    return {said: where for said, where in places.items() if len(where) > 1}


def test_no_sentence_stands_twice() -> None:
    sources = {
        str(path.relative_to(_SRC)): path.read_text(encoding="utf-8") for path in sorted(_SRC.rglob("*.py"))
    }
    assert sum(len(_said(text)) for text in sources.values()) > 300
    assert {said: where for said, where in _twice(sources).items() if said not in _STILL_TWICE} == {}


def test_a_sentence_that_stands_twice_is_noticed() -> None:
    """Control: in two files or in one, also within an f-string; neither docstrings nor five words."""
    once = '"""A module that says nothing else at all."""\n'
    said = 'show("Nothing of it was written down yet.")\n'
    within = 'show(f"{name}: Nothing of it was written down yet.")\nshow("nothing was written down yet")\n'
    assert _twice({"a.py": once, "b.py": once}) == {}
    assert list(_twice({"a.py": said, "b.py": said})) == ["Nothing of it was written down yet."]
    assert _twice({"a.py": said + "\n" + said})
    assert _twice({"a.py": within, "b.py": within.replace("show(f", "tell(f")})
    five = 'show("nothing was written down yet")\n'
    assert _twice({"a.py": five, "b.py": five}) == {}
