"""Whose work runs with the tool and under which licence: NOTICE, and a bill of materials (CycloneDX 1.6).

Guarded by `tests/house/test_notices.py`.
"""

from __future__ import annotations

import json
import re
import sys
import uuid
from importlib.metadata import metadata
from pathlib import Path

ROOT = Path(__file__).parent.parent
_PINNED = re.compile(r"^([\w.-]+)==([\w.]+)(?: ; (.*?))? \\$", re.MULTILINE)
_HASH = re.compile(r"--hash=sha256:([0-9a-f]{64})")
#: Said in a classifier alone, or by a name that is none of SPDX's.
_NAMED = {"BSD License": "BSD-3-Clause", "MIT License": "MIT", "MIT": "MIT"}
_HEAD = """\
Canebench
Copyright the authors of Canebench. Apache License 2.0, see LICENSE.

No work of others is part of this source but what stands in src/canebench/web/static/vendor:
  uPlot 1.6.32 (MIT; its licence lies beside it)

Installed beside it, each from its own authors and under its own licence (pinned in requirements/run.txt):
"""
_TAIL = """
What av brings with it: its wheel holds FFmpeg and other libraries, among them x264 and x265, which are under
the GNU General Public License, version 2 or later. They encode video and are never called; but they make that
wheel's FFmpeg GPL as a whole. To install and use it changes nothing for this source. Who hands on a bundle
that contains the wheel (an image, an installer) hands on GPL software and owes what that licence asks: its
text and the corresponding source. docs/decisions/0009 says why it is used and how to do without.
"""


def notice(pinned: str) -> str:
    """The text of NOTICE for a set of pinned packages, all of them installed."""
    names = sorted({found[1] for found in _PINNED.finditer(pinned)})
    width = max(map(len, names))
    return _HEAD + "".join(f"  {name:{width}}  {licence_of(name)}\n" for name in names) + _TAIL


def licence_of(package: str) -> str:
    """Its licence, as an expression of SPDX where it says one."""
    said = metadata(package)
    if said["License-Expression"]:
        return str(said["License-Expression"])
    classifiers = said.get_all("Classifier") or []
    named = [one.split(" :: ")[-1] for one in classifiers if one.startswith("License ::")]
    return _NAMED.get((named or [said["License"]])[0], "not said")


def bill_of_materials(pinned: str) -> dict[str, object]:
    """Every pinned package with its version, licence and the hashes of its files."""
    parts = []
    found = list(_PINNED.finditer(pinned))
    for one, following in zip(found, [*found[1:], None], strict=True):
        block = pinned[one.end() : following.start() if following else None]
        name, version, where = one.groups()
        parts.append(
            {
                "type": "library",
                "bom-ref": f"{name}@{version}",
                "name": name,
                "version": version,
                "purl": f"pkg:pypi/{name}@{version}",
                "licenses": [{"expression": licence_of(name)}],
                "properties": [{"name": "canebench:marker", "value": where or "always"}]
                + [{"name": "canebench:sha256", "value": value} for value in _HASH.findall(block)],
            }
        )
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "serialNumber": f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_OID, pinned)}",
        "version": 1,
        "components": parts,
    }


def main() -> None:
    """Write NOTICE and `build/sbom.json`."""
    pinned = (ROOT / "requirements" / "run.txt").read_text(encoding="utf-8")
    (ROOT / "NOTICE").write_text(notice(pinned), encoding="utf-8")
    (ROOT / "build").mkdir(exist_ok=True)
    bill = json.dumps(bill_of_materials(pinned), indent=1)
    (ROOT / "build" / "sbom.json").write_text(bill, encoding="utf-8")
    sys.stdout.write("NOTICE and build/sbom.json are written.\n")


if __name__ == "__main__":
    main()
