"""What `benchmarks/mutate` changes: each place that computes or decides, and nothing that is only said."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import canebench
from mutants.changes import changed, changes_of
from mutants.groups import GROUPS

_TEXT = '''
"""Said."""
LIMIT: Final = 3

def share(part: float, whole: float = 2.0) -> float | None:
    """Said too."""
    if not whole:
        return None
    log("a text")
    if part < 0 and ready(part):
        raise ValueError(f"{part + 1}")
    return part / whole
'''


def test_every_place_that_computes_or_decides_is_changed() -> None:
    said = {one.said for one in changes_of(_TEXT)}
    assert said == {
        "3 -> 4",
        "3 -> 2",
        "2.0 -> 3.0",
        "2.0 -> 1.0",
        "not whole -> whole",
        "log('a text') -> pass",
        "part < 0 and ready(part) -> part < 0 or ready(part)",
        "part < 0 -> part <= 0",
        "part < 0 -> part >= 0",
        "0 -> 1",
        "0 -> -1",
        "raise ValueError(f'{part + 1}') -> pass",
        "return part / whole -> return None",
        "part / whole -> part * whole",
    }


def test_each_change_is_one_and_the_rest_stays() -> None:
    plain = ast.unparse(ast.parse(_TEXT)).splitlines()
    for one in changes_of(_TEXT):
        lines = changed(_TEXT, one).splitlines()
        assert sum(now != then for now, then in zip(lines, plain, strict=True)) == 1, one.said


@pytest.mark.parametrize("name", GROUPS)
def test_a_group_has_modules_and_tests(name: str) -> None:
    package = Path(canebench.__file__).parent
    modules = GROUPS[name].modules(package)
    tests = GROUPS[name].tests_of(modules, package.parents[1])
    assert modules
    assert all((Path(__file__).parents[2] / one).exists() for one in tests)
