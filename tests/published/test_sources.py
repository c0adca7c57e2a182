"""Every number from outside says where it comes from."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from support.datasets import PUBLISHED, source_of

if TYPE_CHECKING:
    from pathlib import Path

_FOLDERS = sorted(path.parent.name for path in PUBLISHED.glob("*/source.toml"))


@pytest.mark.parametrize("name", _FOLDERS)
def test_each_data_set_states_source_unit_and_uncertainty(name: str) -> None:
    assert source_of(PUBLISHED / name)


@pytest.mark.parametrize("key", ["citation", "place", "unit", "stated_uncertainty", "from_memory"])
def test_a_data_set_that_does_not_is_refused(tmp_path: Path, key: str) -> None:
    """Control: a copy of a good one without that line."""
    broken = tmp_path / "broken"
    shutil.copytree(PUBLISHED / "iso_16", broken)
    lines = (broken / "source.toml").read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if not line.startswith(f"{key} ")]
    assert len(kept) == len(lines) - 1
    (broken / "source.toml").write_text("\n".join(kept), encoding="utf-8")
    with pytest.raises(AssertionError, match=f"{key} is missing"):
        source_of(broken)
