"""Tries changes: a process that has imported what tests need from elsewhere, and parts with a child for each.

For each line of JSON that it is given (`tests`, `limit_s`) it says one: `by`, the test that failed, or None
where all passed; `took_s`. The product itself is never imported here, only in the children: each finds it as
it lies in the folder just then.
"""

from __future__ import annotations

import importlib
import json
import os
import select
import signal
import sys
import time
from contextlib import suppress
from typing import Any

import pytest

from mutants.quickly import OPTIONS, Quickly

#: Compiled code of these is cached by files and threads: each child has its own.
_NEVER = ("numba", "llvmlite", "canebench", "support", "doors", "conftest", "mutants", "breaking")


class _First:
    """The first test that failed."""

    def __init__(self) -> None:
        self.name: str | None = None

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Whatever part of it failed."""
        if report.failed and self.name is None:
            self.name = report.nodeid


def _child(tests: list[str], say: int) -> None:
    os.setsid()
    null = os.open(os.devnull, os.O_RDWR)
    for one in (0, 1, 2):
        os.dup2(null, one)
    first = _First()
    try:
        code = pytest.main([*OPTIONS, "-x", "-p", "no:terminalreporter", *tests], plugins=[first, Quickly()])
        by = first.name or (None if code == pytest.ExitCode.OK else f"pytest ended with {int(code)}")
    except BaseException as error:  # noqa: BLE001 - whatever the change did
        by = type(error).__name__
    os.write(say, json.dumps(by).encode())
    os._exit(0)


def tried(tests: list[str], limit_s: float) -> str | None:
    """The test that noticed, or that it took too long; None where none did."""
    hear, say = os.pipe()
    child = os.fork()
    if not child:
        os.close(hear)
        _child(tests, say)
    os.close(say)
    said = b""
    until = time.monotonic() + limit_s
    while select.select([hear], [], [], max(until - time.monotonic(), 0.0))[0]:
        part = os.read(hear, 65_536)
        if not part:
            break
        said += part
        with suppress(ValueError):
            json.loads(said)
            break
    else:
        said = b'"it took too long"'
    os.close(hear)
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(child, signal.SIGKILL)
    with suppress(ProcessLookupError):
        os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    found: Any = json.loads(said or b'"it died"')
    return None if found is None else str(found)


def main() -> None:
    told = json.loads(sys.stdin.readline())
    for name in told["imported"]:
        if not name.startswith(_NEVER) and not name.startswith(("_", "test_")):
            with suppress(Exception):
                importlib.import_module(name)
    for line in sys.stdin:
        asked, begun = json.loads(line), time.monotonic()
        by = tried(asked["tests"], asked["limit_s"])
        print(json.dumps({"by": by, "took_s": time.monotonic() - begun}), flush=True)


if __name__ == "__main__":
    main()
