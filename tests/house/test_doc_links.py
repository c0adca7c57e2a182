"""Every file that a page of the docs points to is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

_ROOT = Path(__file__).parents[2]
_PAGES = sorted((_ROOT / "docs").rglob("*.md")) + sorted(_ROOT.glob("*.md"))
_LINK = re.compile(r"\]\((?!https?:|mailto:)([^)#\s]+)(?:#[^)]*)?\)")


def _lost(page: Path, text: str) -> list[str]:
    return [link for link in _LINK.findall(text) if not (page.parent / link).exists()]


@pytest.mark.parametrize("page", _PAGES, ids=lambda page: page.relative_to(_ROOT).as_posix())
def test_what_a_page_points_to_is_there(page: Path) -> None:
    assert not _lost(page, page.read_text(encoding="utf-8"))


def test_a_link_that_leads_nowhere_is_found() -> None:
    page = _ROOT / "docs" / "practice.md"
    assert _lost(page, "![a picture](images/none.svg) and [a page](theory/none.md#part)") == [
        "images/none.svg",
        "theory/none.md",
    ]
