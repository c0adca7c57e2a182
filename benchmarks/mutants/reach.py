"""Which test runs which lines, and how long it takes: `-m mutants.reach OUT MODULE ... -- TEST ...`."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import coverage
import pytest

from mutants.quickly import OPTIONS, Quickly

if TYPE_CHECKING:
    from collections.abc import Iterator


class _Contexts:
    """A context of coverage for each test, its fixtures too; and how it ended."""

    def __init__(self, measured: coverage.Coverage) -> None:
        self.measured = measured
        self.took_s: dict[str, float] = {}
        self.failed: set[str] = set()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Each test by its name."""
        self.measured.switch_context(item.nodeid)
        try:
            return (yield)
        finally:
            self.measured.switch_context("")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Setting up and clearing away count too."""
        self.took_s[report.nodeid] = self.took_s.get(report.nodeid, 0.0) + report.duration
        if report.outcome != "passed":
            self.failed.add(report.nodeid)


def main() -> None:
    out, *more = sys.argv[1:]
    at = more.index("--")
    modules, tests = more[:at], more[at + 1 :]
    measured = coverage.Coverage(data_file=None, include=modules, config_file=False)
    contexts = _Contexts(measured)
    measured.start()
    pytest.main([*OPTIONS, *tests], plugins=[contexts, Quickly()])
    measured.stop()
    data = measured.get_data()
    lines: dict[str, Any] = {}
    for module in data.measured_files():
        by_line = data.contexts_by_lineno(module)
        lines[module] = {line: sorted({*names} - contexts.failed - {""}) for line, names in by_line.items()}
    told = {"took_s": contexts.took_s, "failed": sorted(contexts.failed), "lines": lines}
    told["imported"] = sorted({name for name in sys.modules if "." not in name})
    Path(out).write_text(json.dumps(told))


if __name__ == "__main__":
    main()
