"""Drawings stand where hands need them, each with its title and description in words, once on a page."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from starlette.testclient import TestClient


@pytest.mark.parametrize(
    ("path", "names"),
    [
        ("/help", ["hold", "seat", "hemp", "tape", "pinch"]),
        ("/fit/5/1", ["hold", "seat"]),
        ("/lots/2", ["hold"]),
        ("/reeds/5", ["pinch"]),
        ("/care", []),
    ],
)
def test_each_drawing_is_told_in_words(client: TestClient, path: str, names: list[str]) -> None:
    page = client.get(path).text
    assert re.findall(r'<title id="drawn-(\w+)-title">\w', page) == names
    assert re.findall(r'<desc id="drawn-(\w+)-desc">\w', page) == names
