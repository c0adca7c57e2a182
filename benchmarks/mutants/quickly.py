"""How pytest is run here: the same examples each time, none made smaller, nothing kept."""

from __future__ import annotations

import os
import shutil
from functools import partial
from pathlib import Path
from typing import Final

import pytest

#: Where the invented season lies that many tests begin with: made once, not for every change.
SEASON: Final = "CANEBENCH_MUTANTS_SEASON"

OPTIONS: Final = (
    "-q",
    "-p",
    "no:cacheprovider",
    "-p",
    "no:xdist",
    "--no-header",
    "--no-summary",
    "--fuzz-count=60",
    "--hypothesis-seed=0",
    # Imported before pytest is: what of it would be rewritten is not what is asked here.
    "-W",
    "ignore::pytest.PytestAssertRewriteWarning",
)


class Quickly:
    """After the suite's own settings: a failure is enough, the least one is not looked for."""

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self) -> None:
        """As each process begins."""
        from hypothesis import HealthCheck, Phase, settings  # noqa: PLC0415 - pytest finds it first

        settings.register_profile(
            "quickly",
            deadline=None,
            database=None,
            phases=(Phase.explicit, Phase.generate),
            suppress_health_check=tuple(HealthCheck),
        )
        settings.load_profile("quickly")
        if made := os.environ.get(SEASON):
            from support import season  # noqa: PLC0415 - as the tests find it

            season.make_demo = partial(_copied, Path(made))  # type: ignore[attr-defined]


def _copied(made: Path, folder: Path) -> Path:
    shutil.copytree(made, folder)
    return folder / "ledger.db"
