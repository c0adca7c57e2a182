"""Options of the whole test run."""

from __future__ import annotations

import os
import tempfile
from typing import TYPE_CHECKING

from hypothesis import settings

if TYPE_CHECKING:
    import pytest


# A reference library's compiled code, cached by one process and read by another, has crashed: this run
# keeps its own.
_COMPILED = tempfile.TemporaryDirectory(prefix="numba-")
os.environ["NUMBA_CACHE_DIR"] = _COMPILED.name


# Our matrices are small: more BLAS threads only get in each other's way. Before NumPy is imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


# How long one example takes says nothing on a busy machine.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")


pytest_plugins = ("support.season",)


def pytest_addoption(parser: pytest.Parser) -> None:
    """How many damaged files the ingest fuzz test tries."""
    parser.addoption(
        "--fuzz-count", type=int, default=20_000, help="damaged sound files to try (default 20 000)"
    )
