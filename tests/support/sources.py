"""Data from outside: each folder of `tests/published` with its `source.toml`."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

_FOLDER = Path(__file__).resolve().parents[1] / "published"


def source(name: str) -> dict[str, Any]:
    """What `source.toml` in the folder `name` says."""
    return tomllib.loads((_FOLDER / name / "source.toml").read_text(encoding="utf-8"))


def source_names() -> list[str]:
    """All data sets."""
    return sorted(path.parent.name for path in _FOLDER.glob("*/source.toml"))


def folders() -> list[str]:
    """All folders, with a source or without."""
    return sorted(path.name for path in _FOLDER.iterdir() if path.is_dir() and path.name != "__pycache__")
