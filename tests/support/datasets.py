"""Published data sets: a folder each in `tests/published`, with `source.toml` and `data.csv`."""

from __future__ import annotations

import csv
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PUBLISHED = Path(__file__).parents[1] / "published"
_NEEDED = {"citation": str, "unit": str, "stated_uncertainty": str, "from_memory": bool}


def source_of(folder: Path) -> dict[str, Any]:
    """`source.toml` of a folder; one that does not say where its numbers come from is an error."""
    source = tomllib.loads((folder / "source.toml").read_text(encoding="utf-8"))
    for key, kind in _NEEDED.items():
        assert isinstance(source.get(key), kind), f"{folder.name}/source.toml: {key} is missing"
        assert source[key] != "", f"{folder.name}/source.toml: {key} is empty"
    assert source.get("place") or source.get("equation"), f"{folder.name}/source.toml: place is missing"
    return source


@dataclass(frozen=True, slots=True, kw_only=True)
class DataSet:
    """Where the numbers come from (`source`), and the numbers (`rows`, as printed)."""

    source: dict[str, Any]
    rows: list[dict[str, str]]

    def number(self, key: str) -> float:
        """A number of the source, such as its uncertainty."""
        return float(self.source[key])

    def column(self, key: str) -> list[float]:
        """A column of numbers."""
        return [float(row[key]) for row in self.rows]


def published(name: str) -> DataSet:
    """The data set `tests/published/<name>`."""
    with (PUBLISHED / name / "data.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert rows, f"{name}/data.csv holds no rows"
    return DataSet(source=source_of(PUBLISHED / name), rows=rows)
