"""Options of the whole test run."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    """How many damaged files the ingest fuzz test tries."""
    parser.addoption(
        "--fuzz-count", type=int, default=20_000, help="damaged sound files to try (default 20 000)"
    )
