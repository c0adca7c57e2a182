"""Read a ledger's JSON with nothing but Python: python read_ledger.py ledger.json [table].

`read` gives each table as a list of rows; a row's values are by column, None where nothing is known.
"""

import json
import pathlib
import sys


def read(path):
    """Tables of an exported ledger, by name."""
    whole = json.loads(pathlib.Path(path).read_text(encoding="utf-8"))
    if whole.get("schema") != "canebench.ledger/1":
        raise ValueError(f"{path} is no canebench.ledger/1")
    return {name: table["rows"] for name, table in whole["tables"].items()}


if __name__ == "__main__":
    tables = read(sys.argv[1])
    for name in sys.argv[2:] or tables:
        sys.stdout.write(f"{name}: {len(tables[name])} rows\n")
        for row in tables[name] if sys.argv[2:] else []:
            sys.stdout.write(json.dumps(row, ensure_ascii=True) + "\n")
