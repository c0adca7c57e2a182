"""Which modules are changed; which tests are asked, besides those that a module names itself."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

_GUARDS: Final = re.compile(r"tests/[a-z_]+/test_\w+\.py")


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Modules by patterns below `src/canebench`, but for some; tests by paths from the top of the project."""

    patterns: tuple[str, ...]
    tests: tuple[str, ...]
    without: tuple[str, ...] = ()
    #: Modules that run in processes of their own, where no test is seen to reach them, by the start of their
    #: names; and the module that begins those: the tests that reach it are asked.
    begun_by: tuple[str, str] = ("", "")

    def modules(self, package: Path) -> list[Path]:
        """The modules, in their order."""
        found = {path for pattern in self.patterns for path in package.glob(pattern)}
        return sorted(path for path in found if path.name not in ("__init__.py", *self.without))

    def tests_of(self, modules: Iterable[Path], top: Path) -> list[str]:
        """Those of the group, and those that guard its modules as they say."""
        named = {name for path in modules for name in _GUARDS.findall(path.read_text(encoding="utf-8"))}
        return sorted({*self.tests, *(name for name in named if (top / name).exists())})


GROUPS: Final = {
    "base": Group(
        patterns=("base/**/*.py",),
        tests=("tests/invariants", "tests/practice/test_fingering.py", "tests/doors/test_typed_numbers.py"),
    ),
    "guards": Group(
        patterns=("web/security/*.py",),
        tests=("tests/web/test_guard.py", "tests/web/test_entry_file.py", "tests/web/test_forms.py"),
    ),
    "writer": Group(
        patterns=("store/writer.py",),
        tests=(
            "tests/store/test_contract.py",
            "tests/store/test_random_acts.py",
            "tests/store/test_import.py",
            "tests/store/test_exchange.py",
            "tests/faults/test_row_damage.py",
        ),
    ),
    "decode": Group(
        patterns=("sound/files/decode*.py",),
        begun_by=("canebench/sound/files/decode_", "canebench/sound/files/decode.py"),
        tests=(
            "tests/analytic/test_decode_formats.py",
            "tests/faults/test_decode_edges.py",
            "tests/faults/test_ingest_child.py",
            "tests/faults/test_ingest_hostile.py",
            "tests/invariants/test_recording.py",
        ),
    ),
    "fitting": Group(
        patterns=("fitting/*.py",),
        without=("plan_words.py",),
        tests=("tests/practice", "tests/invariants/test_balance.py", "tests/invariants/test_next_act.py"),
    ),
}
