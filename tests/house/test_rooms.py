"""How the house is laid out: no folder overfull, no class name that means two things."""

from __future__ import annotations

import ast
from collections import Counter, defaultdict
from pathlib import Path

import canebench

_SRC = Path(canebench.__file__).parent
_MOST_MODULES = 15


def _overfull(modules: list[Path]) -> list[str]:
    counts = Counter(path.parent for path in modules if path.name != "__init__.py")
    return sorted(str(folder) for folder, count in counts.items() if count > _MOST_MODULES)


def _defined_twice(sources: dict[str, str]) -> dict[str, list[str]]:
    """Public classes by name where more than one file defines it."""
    found = defaultdict(list)
    for path, text in sources.items():
        for node in ast.parse(text).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                found[node.name].append(path)
    return {name: paths for name, paths in found.items() if len(paths) > 1}


def test_no_folder_holds_more_than_fifteen_modules() -> None:
    assert _overfull(sorted(_SRC.rglob("*.py"))) == []


def test_an_overfull_folder_is_noticed() -> None:
    """Control."""
    modules = [Path(f"room/module_{n}.py") for n in range(_MOST_MODULES + 1)]
    assert _overfull(modules) == ["room"]


def test_a_class_name_exists_once() -> None:
    sources = {str(path.relative_to(_SRC)): path.read_text(encoding="utf-8") for path in _SRC.rglob("*.py")}
    assert _defined_twice(sources) == {}


def test_a_name_defined_twice_is_noticed() -> None:
    """Control."""
    text = "class Done:\n    pass\n"
    assert _defined_twice({"a.py": text, "b.py": text}) == {"Done": ["a.py", "b.py"]}
