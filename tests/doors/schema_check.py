"""The part of JSON Schema (draft 2020-12) that our schema uses; a word it does not know is an error."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

Json = Any

_TYPES: dict[str, tuple[type, ...]] = {
    "object": (dict,),
    "array": (list,),
    "string": (str,),
    "integer": (int,),
    "number": (int, float),
    "boolean": (bool,),
    "null": (type(None),),
}
_SILENT = {"$schema", "$id", "$defs", "title", "description"}


def faults(value: Json, schema: Json, *, root: Json, at: str = "$") -> list[str]:
    """What in `value` does not fit `schema`; empty when all fits."""
    found: list[str] = []
    for word, rule in schema.items():
        if word in _SILENT:
            continue
        if word == "$ref":
            found += faults(value, root["$defs"][rule.removeprefix("#/$defs/")], root=root, at=at)
        elif word == "anyOf":
            tries = [faults(value, choice, root=root, at=at) for choice in rule]
            found += tries[-1] if all(tries) else []
        elif word in ("properties", "additionalProperties", "propertyNames", "items"):
            found += _inside(word, value, rule, schema, root, at)
        elif not _holds(word, rule, value):
            found.append(f"{at}: {value!r} against {word} {rule!r}")
    return found


def _inside(word: str, value: Json, rule: Json, schema: Json, root: Json, at: str) -> list[str]:
    pairs: list[tuple[str, Json, Json]] = []
    if word == "items" and isinstance(value, list):
        pairs = [(f"{at}[{i}]", item, rule) for i, item in enumerate(value)]
    elif isinstance(value, dict) and word == "properties":
        pairs = [(f"{at}.{key}", value[key], rule[key]) for key in rule if key in value]
    elif isinstance(value, dict) and word == "additionalProperties":
        extra = [key for key in value if key not in schema.get("properties", {})]
        pairs = [(f"{at}.{key}", value[key], rule) for key in extra]
    elif isinstance(value, dict) and word == "propertyNames":
        pairs = [(f"{at}.{key}", key, rule) for key in value]
    return [fault for place, item, part in pairs for fault in faults(item, part, root=root, at=place)]


def _holds(word: str, rule: Json, value: Json) -> bool:
    size = len(value) if isinstance(value, list) else None
    number = value if isinstance(value, int | float) and not isinstance(value, bool) else None
    checks: dict[str, Callable[[], bool]] = {
        "const": lambda: bool(value == rule),
        "enum": lambda: value in rule,
        "type": lambda: any(_is(value, name) for name in ([rule] if isinstance(rule, str) else rule)),
        "required": lambda: not isinstance(value, dict) or all(key in value for key in rule),
        "minimum": lambda: number is None or number >= rule,
        "maximum": lambda: number is None or number <= rule,
        "pattern": lambda: not isinstance(value, str) or re.search(rule, value) is not None,
        "exclusiveMinimum": lambda: number is None or number > rule,
        "minItems": lambda: size is None or size >= rule,
        "maxItems": lambda: size is None or size <= rule,
    }
    if word not in checks:
        raise ValueError(f"this check does not know the schema word {word!r}")
    return checks[word]()


def _is(value: Json, name: str) -> bool:
    if isinstance(value, bool) and name != "boolean":
        return False
    return isinstance(value, _TYPES[name])
