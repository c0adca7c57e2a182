"""How the house is laid out: no folder overfull, no class name twice, no raw row above the store."""

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


def _takes_raw_rows(text: str) -> bool:
    """Whether a file imports rows as a database gives them, or columns to look into them by."""
    return any(
        isinstance(node, ast.ImportFrom)
        and node.module == "canebench.store.tables"
        and not {alias.name for alias in node.names}.isdisjoint({"Row", "Column"})
        for node in ast.walk(ast.parse(text))
    )


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


def test_above_the_store_rows_are_records() -> None:
    above = [path for floor in ("bench", "cli", "web") for path in (_SRC / floor).rglob("*.py")]
    assert above
    assert [str(path) for path in above if _takes_raw_rows(path.read_text(encoding="utf-8"))] == []


def test_a_raw_row_above_the_store_is_noticed() -> None:
    """Control."""
    assert _takes_raw_rows("def f():\n    from canebench.store.tables import Row, Value\n")
