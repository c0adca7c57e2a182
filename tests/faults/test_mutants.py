"""What `benchmarks/mutate` changes: each place that computes or decides, and nothing that is only said."""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Any

import pytest

import canebench
from mutants.asked import asked_of, short_tests
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


_GUARD, _OTHER = "tests/a/test_guard.py", "tests/a/test_other.py"


def _told() -> dict[str, Any]:
    """Many quick cases of one test and one slower test run line 7; an import alone runs line 1."""
    cases = [f"{_OTHER}::test_case[{n}]" for n in range(190)]
    times = {**dict.fromkeys(cases, 0.01), f"{_OTHER}::test_one": 0.5, f"{_GUARD}::test_held": 1.0}
    times |= {f"{_OTHER}::test_slow": 7.0, f"{_OTHER}::test_broken": 0.1}
    lines = {"1": [], "7": [name for name in times if not name.endswith("held")]}
    return {"took_s": times, "failed": [f"{_OTHER}::test_broken"], "lines": {"m.py": lines}}


def test_of_many_cases_of_one_test_the_others_are_not_crowded_out() -> None:
    asked = asked_of(_told(), "m.py", 7, {_GUARD})
    assert asked[:2] == [f"{_OTHER}::test_case[0]", f"{_OTHER}::test_one"]
    assert len(asked) == 150


@pytest.mark.parametrize("line", [1, 99])
def test_of_a_line_that_no_test_is_seen_to_run_the_guards_are_asked(line: int) -> None:
    """Control: of one that tests run, none that does not."""
    assert asked_of(_told(), "m.py", line, {_GUARD})[0] == f"{_GUARD}::test_held"
    assert f"{_GUARD}::test_held" not in asked_of(_told(), "m.py", 7, {_GUARD})
    assert asked_of(_told(), "m.py", 99, set()) == []


def test_what_takes_long_or_fails_by_itself_is_not_asked() -> None:
    told = _told()
    for asked in (asked_of(told, "m.py", 7, set()), short_tests(told)):
        assert not {f"{_OTHER}::test_slow", f"{_OTHER}::test_broken"} & {*asked}


def test_a_process_of_its_own_is_asked_about_by_what_begins_it() -> None:
    told = _told()
    told["lines"]["begins.py"] = {"3": [f"{_GUARD}::test_held"]}
    assert asked_of(told, "m_child.py", 5, set(), ("m_", "begins.py")) == [f"{_GUARD}::test_held"]
