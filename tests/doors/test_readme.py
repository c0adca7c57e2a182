"""What the README shows is what the package does."""

from __future__ import annotations

import json
import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from canebench.bench.acts.fitting.measure_take import DEMO_TITLE
from canebench.fitting.acts import Act
from doors.schema_check import faults

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")


def test_the_two_commands_come_first() -> None:
    """After the clone: the demo, then the tests; nothing else is needed."""
    first = re.findall(r"^    (\S.*)$", README, flags=re.M)[:3]
    assert first[0].startswith("git clone ")
    assert [line.split()[0] for line in first[1:]] == ["scripts/demo", "scripts/test"]
    for name in ("demo", "test"):
        assert (ROOT / "scripts" / name).stat().st_mode & 0o100


def test_its_json_fits_the_schema() -> None:
    schema = json.loads((ROOT / "docs" / "measurement.schema.json").read_text("utf-8"))
    example = json.loads(README.partition("```json\n")[2].partition("```")[0])
    assert faults(example, schema) == []
    assert example["origin"] == "first-light.ogg"


def test_its_picture_is_the_demo_s() -> None:
    root = ET.parse(ROOT / "docs" / "images" / "beam.svg").getroot()  # noqa: S314 - our own file
    assert root.findtext("{http://www.w3.org/2000/svg}title") == DEMO_TITLE
    assert "docs/images/beam.svg" in README


@pytest.mark.parametrize("page", ["README.md", "CONTRIBUTING.md", "CHANGELOG.md", "docs/commands.md"])
def test_links_lead_somewhere(page: str) -> None:
    text = (ROOT / page).read_text("utf-8")
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", text):
        if "://" not in target:
            assert ((ROOT / page).parent / target).exists(), target


def test_every_act_is_explained() -> None:
    page = (ROOT / "docs" / "commands.md").read_text("utf-8")
    assert [act.value for act in Act if f"| {act.value} |" not in page] == []


def test_control_a_link_to_nowhere_is_noticed() -> None:
    assert re.findall(r"\]\(([^)#]+)[^)]*\)", "[a](docs/none.md#part)") == ["docs/none.md"]
    assert not (ROOT / "docs/none.md").exists()
