"""What does not fit a JSON schema, by a library that had no part in making it."""

from __future__ import annotations

from typing import Any

from jsonschema import Draft202012Validator


def faults(value: Any, schema: Any) -> list[str]:
    """What in `value` does not fit `schema`; empty when all fits."""
    return [
        f"{error.json_path}: {error.message}" for error in Draft202012Validator(schema).iter_errors(value)
    ]
