"""The part of JSON Schema (draft 2020-12) that our schema uses; a word it does not know is an error."""

from __future__ import annotations

from typing import Any

Json = Any

_TYPES: dict[str, tuple[type, ...]] = {
    "object": (dict,),
    "array": (list,),
    "string": (str,),
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
            found += min(tries, key=len) if all(tries) else []
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
    number = value if isinstance(value, int | float) and not isinstance(value, bool) else None
    match word:
        case "const":
            return bool(value == rule)
        case "enum":
            return value in rule
        case "type":
            names = [rule] if isinstance(rule, str) else rule
            return any(
                isinstance(value, _TYPES[name]) and not (name == "number" and isinstance(value, bool))
                for name in names
            )
        case "required":
            return not isinstance(value, dict) or all(key in value for key in rule)
        case "minimum":
            return number is None or number >= rule
        case "exclusiveMinimum":
            return number is None or number > rule
        case "minItems":
            return not isinstance(value, list) or len(value) >= rule
        case "maxItems":
            return not isinstance(value, list) or len(value) <= rule
    raise ValueError(f"this check does not know the schema word {word!r}")
