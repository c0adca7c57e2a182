"""Options of the whole test run."""

from __future__ import annotations

import gc
import os
import re
import tempfile
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from hypothesis import settings

from support.loads import load_fully

if TYPE_CHECKING:
    import pytest


# A reference library's compiled code, cached by one process and read by another, has crashed: this run
# keeps its own.
_COMPILED = tempfile.TemporaryDirectory(prefix="numba-")
os.environ["NUMBA_CACHE_DIR"] = _COMPILED.name


# It is compiled for a few calls alone: making that code quick takes longer than it saves.
os.environ.setdefault("NUMBA_OPT", "0")


# Our matrices are small: more BLAS threads only get in each other's way. Before NumPy is imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


# How long one example takes says nothing on a busy machine.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")


pytest_plugins = ("support.ledgers", "support.season")


_TESTS = Path(__file__).parent
_ROOM = re.compile(r"^\s*(?:from|import) canebench\.(\w+)", re.MULTILINE)


@cache
def marks_of(path: Path) -> frozenset[str]:
    """The rung that a test's file stands on, and the rooms that it imports."""
    rung = path.relative_to(_TESTS).parts[0]
    return frozenset({rung, *_ROOM.findall(path.read_text(encoding="utf-8"))})


def pytest_itemcollected(item: pytest.Item) -> None:
    """Every test can be chosen by rung and by room: `-m "published and bore"`; an unknown name fails."""
    for mark in sorted(marks_of(item.path)):
        item.add_marker(mark)


def pytest_addoption(parser: pytest.Parser) -> None:
    """How often tests do what they repeat; whether other browsers are driven too."""
    parser.addoption(
        "--engines", action="store_true", help="Firefox, WebKit and a real sound server too (scripts/engines)"
    )
    parser.addoption(
        "--full-loads", action="store_true", help="cuts, damages and drawn cases as often as ever, not fewer"
    )
    parser.addoption(
        "--fuzz-count", type=int, help="damaged sound files to try (default 8 000; 20 000 by --full-loads)"
    )


def pytest_configure(config: pytest.Config) -> None:
    """Before tests are collected: some draw their cases then."""
    if config.getoption("full_loads"):
        load_fully()


def pytest_collection_finish() -> None:
    """What was imported lives as long as the run: Python looks through it for rubbish no more."""
    gc.collect()
    gc.freeze()
