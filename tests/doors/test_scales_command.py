"""The list of scales names each with its source."""

from __future__ import annotations

import json

from canebench.base.scales import DEFAULT_SCALE, published_scales
from doors.run import run


def test_each_scale_is_listed_with_its_source() -> None:
    result = run("scales")
    assert result.exit_code == 0
    for scale in published_scales().values():
        assert scale.name in result.stdout
        assert scale.source in result.stdout
        assert scale.title in result.stdout
    assert result.stdout.startswith(DEFAULT_SCALE.name)


def test_as_json() -> None:
    rows = json.loads(run("scales", "--json").stdout)
    assert [row["name"] for row in rows] == list(published_scales())
    assert rows[0]["ratios"]["high G"] == 1.75
