"""The JSON schemas in docs/, made from what they describe: `scripts/schemas` writes them.

Guarded by `tests/house/test_schemas.py`.
"""

from __future__ import annotations

import inspect
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

from msgspec.json import schema_components

from canebench.bench.views.wire.after import AFTER_SCHEMA, AfterWritten
from canebench.bench.views.wire.measurement import SCHEMA, MeasurementWritten
from canebench.bench.views.wire.plan import EFFECTS_SCHEMA, PLAN_SCHEMA, EffectsWritten, PlanWritten
from canebench.store.exchange.files.json_file import schema as ledger_schema

if TYPE_CHECKING:
    from canebench.bench.views.wire.pieces import Json, Written

DRAFT: Final = "https://json-schema.org/draft/2020-12/schema"


def schema_files() -> dict[str, str]:
    """The text of each file in docs/ by its name."""
    schemas = {
        "measurement": _schema(MeasurementWritten, SCHEMA),
        "after-act": _schema(AfterWritten, AFTER_SCHEMA),
        "plan": _schema(PlanWritten, PLAN_SCHEMA),
        "chanter-effects": _schema(EffectsWritten, EFFECTS_SCHEMA),
        "ledger": ledger_schema(),
    }
    return {
        f"{name}.schema.json": json.dumps({"$schema": DRAFT, **schema}, indent=2, ensure_ascii=False) + "\n"
        for name, schema in schemas.items()
    }


def _schema(kind: type[Written], name: str) -> Json:
    """A class's schema; the first line of its docstring is the title, what follows the description."""
    _, parts = schema_components([kind], ref_template="#/$defs/{name}")
    title, _, rest = (inspect.getdoc(kind) or "").partition("\n")
    whole = {**parts.pop(kind.__name__), "title": title.removesuffix(".")}
    described = {"description": " ".join(rest.split())}
    return {"$id": name, **whole, **described, "$defs": parts}


def write_schemas(folder: Path) -> None:
    """Write each file into a folder."""
    for name, text in schema_files().items():
        (folder / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write_schemas(Path(sys.argv[1]))
