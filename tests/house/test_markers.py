"""Every rung and every room has its marker, and each test bears those of its file."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

import canebench

if TYPE_CHECKING:
    import pytest

_TESTS = Path(__file__).resolve().parents[1]
_PACKAGE = Path(canebench.__file__).parent


def _registered() -> set[str]:
    with (_TESTS.parent / "pyproject.toml").open("rb") as handle:
        markers = tomllib.load(handle)["tool"]["pytest"]["ini_options"]["markers"]
    return {line.partition(":")[0] for line in markers}


def _folders(root: Path, holding: str) -> set[str]:
    return {path.relative_to(root).parts[0] for path in root.glob(f"*/**/{holding}")}


def test_markers_are_the_rungs_and_the_rooms() -> None:
    assert _registered() == _folders(_TESTS, "test_*.py") | _folders(_PACKAGE, "*.py")


def test_this_test_bears_the_mark_of_its_folder(request: pytest.FixtureRequest) -> None:
    marks = {mark.name for mark in request.node.iter_markers()}
    assert "house" in marks
    assert "bore" not in marks


def _collected(tests: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-p", "no:cacheprovider", *arguments]
    return subprocess.run(command, cwd=tests.parent, capture_output=True, text=True, check=False, timeout=60)


def _copied(folder: Path, path: str, text: str) -> Path:
    """Our settings and marks over one made-up test."""
    tests = folder / "tests"
    for name in ("tests/conftest.py", "pyproject.toml"):
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes((_TESTS.parent / name).read_bytes())
    (tests / "support").symlink_to(_TESTS / "support")
    (tests / path).parent.mkdir()
    (tests / path).write_text(text)
    return tests


def test_tests_are_chosen_by_rung_and_by_room(tmp_path: Path) -> None:
    text = "from canebench.bore.tape import covered_mm\ndef test_one():\n    assert covered_mm\n"
    tests = _copied(tmp_path, "published/test_one.py", text)
    for chosen, count in (("published and bore", 1), ("published and sound", 0), ("practice", 0)):
        said = _collected(tests, "-m", chosen, "tests/published").stdout
        assert said.count("::test_one") == count, said


def test_a_folder_without_a_marker_is_noticed(tmp_path: Path) -> None:
    """Control."""
    tests = _copied(tmp_path, "elsewhere/test_one.py", "def test_one():\n    pass\n")
    result = _collected(tests, "tests/elsewhere")
    assert result.returncode != 0
    assert "'elsewhere' not found in `markers` configuration option" in result.stdout + result.stderr
