"""The invented band's season, made once for the whole run; whoever changes it changes a copy."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.upkeep.demo_season import make_demo

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its folder: the ledger `ledger.db`, and the takes."""
    folder = tmp_path_factory.mktemp("season") / "demo"
    make_demo(folder)
    return folder
