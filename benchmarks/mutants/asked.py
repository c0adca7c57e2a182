"""Which tests are asked about a change, and in which order: of those that run its line, as `reach` tells."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

#: So many, and for so long, s.
_MOST_TESTS: Final = 150
_MOST_S: Final = 20.0
#: A test that takes longer than this is not asked, s.
_LONG_S: Final = 6.0


def asked_of(
    told: Mapping[str, Any], name: str, line: int, guards: set[str], begun_by: tuple[str, str] = ("", "")
) -> list[str]:
    """Those that run the line, the files that guard its module first.

    Of a line that no test is seen to run (an import does, or a process of its own): those that run the module
    at all, and all of the guards. Of modules that `begun_by` names also those that reach what begins them.
    """
    lines: dict[str, list[str]] = told["lines"].get(name, {})
    found = set(lines.get(str(line), ()))
    start, beginner = begun_by
    if start and name.startswith(start):
        found |= {test for tests in told["lines"][beginner].values() for test in tests}
    elif not found:
        found = {test for tests in lines.values() for test in tests} if str(line) in lines else set()
        found |= {test for test in told["took_s"] if _file_of(test) in guards}
    found -= {*told["failed"]}
    chosen: list[str] = []
    spent = 0.0
    for test in _in_order(found, guards, told["took_s"]):
        if told["took_s"][test] > _LONG_S or len(chosen) >= _MOST_TESTS or spent > _MOST_S:
            continue
        chosen.append(test)
        spent += told["took_s"][test]
    return chosen


def short_tests(told: Mapping[str, Any]) -> list[str]:
    """All that may be asked."""
    failed = set(told["failed"])
    return [test for test, took_s in told["took_s"].items() if test not in failed and took_s <= _LONG_S]


def _file_of(test: str) -> str:
    return test.partition("::")[0]


def _in_order(tests: Iterable[str], guards: set[str], took_s: Mapping[str, float]) -> list[str]:
    """Guards first; of each test one case before any has a second: twenty cases of one say much the same."""
    quickest_first = sorted(tests, key=lambda test: (took_s[test], test))
    cases: Counter[str] = Counter()
    case: dict[str, int] = {}
    for test in quickest_first:
        case[test] = cases[test.partition("[")[0]]
        cases[test.partition("[")[0]] += 1
    return sorted(quickest_first, key=lambda test: (_file_of(test) not in guards, case[test]))
