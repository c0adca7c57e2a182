"""Every test that a docstring names as its guard exists, and files stay small."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

_ROOT = Path(__file__).resolve().parents[2]
_SOURCE = _ROOT / "src" / "canebench"
_MOST_LINES = 400
_NAMED = re.compile(r"`((?:tests|benchmarks|docs)/[^`\s]*)`")


def _docstrings(text: str) -> list[str]:
    kinds = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    nodes = [node for node in ast.walk(ast.parse(text)) if isinstance(node, kinds)]
    return [doc for node in nodes if (doc := ast.get_docstring(node))]


def _missing(text: str) -> list[str]:
    """Paths in the docstrings of a source text that are not in the repository."""
    named = [path for doc in _docstrings(text) for path in _NAMED.findall(doc)]
    return [path for path in named if not (_ROOT / path).exists()]


def _sources() -> list[Path]:
    return sorted(_SOURCE.rglob("*.py"))


@pytest.mark.parametrize("path", _sources(), ids=lambda path: str(path.relative_to(_SOURCE)))
def test_every_guard_named_exists(path: Path) -> None:
    assert _missing(path.read_text(encoding="utf-8")) == []


def test_control_a_guard_that_was_made_up_is_caught() -> None:
    """In a module's, a class's and a function's docstring alike; a real one passes."""
    made_up = "tests/analytic/test_that_was_never_written.py"
    for text in (
        f'"""Guarded by `{made_up}`."""',
        f'class A:\n    """Guarded by `{made_up}`."""',
        f'def f():\n    """A fact.\n\n    Guarded by `{made_up}`.\n    """',
    ):
        assert _missing(text) == [made_up]
    assert _missing('"""Guarded by `tests/house/test_guards_exist.py`."""') == []


def test_guards_are_named_at_all() -> None:
    """The pattern finds what the source says: without this the test above could pass on nothing."""
    texts = [path.read_text(encoding="utf-8") for path in _sources()]
    assert sum(bool(_NAMED.search(text)) for text in texts) >= 20


@pytest.mark.parametrize("path", _sources(), ids=lambda path: str(path.relative_to(_SOURCE)))
def test_files_are_small(path: Path) -> None:
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= _MOST_LINES, f"{lines} lines; split by concern"
