"""The schemas in docs/ are made from what they describe, and are schemas."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from jsonschema.exceptions import SchemaError

from canebench.bench.views.wire.schemas import schema_files, write_schemas

_DOCS = Path(__file__).parents[2] / "docs"
#: Written by hand: it describes a file that people may have, and only its reader knows all that it may hold.
_BY_HAND = {"fitting.schema.json"}


def _stale(folder: Path) -> list[str]:
    """Files that are not what would be written now."""
    return [
        name
        for name, text in schema_files().items()
        if not (folder / name).exists() or (folder / name).read_text("utf-8") != text
    ]


def test_the_schemas_are_those_of_the_classes() -> None:
    assert _stale(_DOCS) == [], "regenerate them: scripts/schemas"
    assert {path.name for path in _DOCS.glob("*.schema.json")} == set(schema_files()) | _BY_HAND


def test_control_a_changed_and_a_lost_schema_are_noticed(tmp_path: Path) -> None:
    write_schemas(tmp_path)
    assert _stale(tmp_path) == []
    plan = tmp_path / "plan.schema.json"
    plan.write_text(plan.read_text("utf-8").replace('"minimum": 0', '"minimum": 1', 1), encoding="utf-8")
    (tmp_path / "after-act.schema.json").unlink()
    assert _stale(tmp_path) == ["after-act.schema.json", "plan.schema.json"]


@pytest.mark.parametrize("path", sorted(_DOCS.glob("*.schema.json")), ids=lambda path: path.name)
def test_each_is_a_schema(path: Path) -> None:
    schema = json.loads(path.read_text("utf-8"))
    Draft202012Validator.check_schema(schema)
    # The control.
    with pytest.raises(SchemaError, match="sometimes"):
        Draft202012Validator.check_schema({**schema, "type": "sometimes"})
