"""NOTICE names everything that is installed to run the tool, its licence, and what a wheel brings along."""

from __future__ import annotations

import importlib.util
import json
import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from types import ModuleType

_ROOT = Path(__file__).parents[2]
_PINNED = (_ROOT / "requirements" / "run.txt").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def notices() -> ModuleType:
    spec = importlib.util.spec_from_file_location("notices", _ROOT / "scripts" / "notices.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_notice_is_the_one_of_what_is_pinned(notices: ModuleType) -> None:
    """Control: with one package fewer it is another."""
    written = (_ROOT / "NOTICE").read_text(encoding="utf-8")
    assert written == notices.notice(_PINNED), "write it anew: scripts/notices"
    assert written != notices.notice(re.sub(r"(?m)^segno==(.|\n)*?(?=^\w)", "", _PINNED))


def test_every_package_says_its_licence(notices: ModuleType) -> None:
    text = notices.notice(_PINNED)
    assert "not said" not in text
    assert set(re.findall(r"(?m)^([\w.-]+)==", _PINNED)) == set(re.findall(r"(?m)^  ([\w.-]+)  ", text))


def test_gpl_parts_of_a_wheel_are_the_ones_that_are_told() -> None:
    """Where the wheel is unpacked, its libraries under the GPL are those of NOTICE."""
    import av  # noqa: PLC0415 - only for where it lies

    beside = Path(av.__file__).parents[1] / "av.libs"
    if not beside.is_dir():
        pytest.skip("av was built against libraries of the system")
    gpl = {
        name
        for name in ("x264", "x265", "xvid", "vidstab", "rubberband", "postproc")
        if list(beside.glob(f"lib{name}*"))
    }
    written = (_ROOT / "NOTICE").read_text(encoding="utf-8")
    assert {name for name in gpl if name not in written} == set()


def test_the_bill_of_materials_holds_every_version_and_hash(notices: ModuleType) -> None:
    bill = json.loads(json.dumps(notices.bill_of_materials(_PINNED)))
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    told = [(one["name"], one["version"]) for one in bill["components"]]
    assert told == re.findall(r"(?m)^([\w.-]+)==([\w.]+)", _PINNED)
    hashes = [
        p["value"] for one in bill["components"] for p in one["properties"] if p["name"].endswith("sha256")
    ]
    assert hashes == re.findall(r"sha256:([0-9a-f]{64})", _PINNED)
