"""What the page says is amiss speaks of the page's fields, never of the command's options."""

from __future__ import annotations

import re
from html import unescape
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from starlette.testclient import TestClient

_OPTION = re.compile(r"(?<![\w-])--[a-z]|\bcanebench [a-z]+\b(?! serve)")
_TAKE = {"how": "typed", "since": "nothing", "unit": "Hz"}
#: What a form of the page is sent with that will not do.
_WRONG = {
    "cents without a pitch": (
        "/fit/21/3/take",
        {**_TAKE, "unit": "cents", "typed-low A": "0", "typed-high A": "-9"},
    ),
    "no reading": ("/fit/21/3/take", _TAKE),
    "swapped": ("/fit/21/3/take", {**_TAKE, "typed-low A": "940", "typed-high A": "470"}),
    "a seat too deep": ("/fit/21/3/take", {**_TAKE, "since": "other", "seat": "9"}),
    "no sound": ("/fit/21/3/take", {"how": "file", "since": "nothing"}),
    "no such recording": ("/fit/21/3/take", {"how": "recording:none", "since": "nothing"}),
    "a strange scale": ("/fit/21/3/take", {**_TAKE, "scale": "none"}),
    "no reed of that number": ("/reeds/5/strength", {"by_mouth": "same", "than": "999"}),
    "no unit": ("/players", {"name": "X", "blows": "28"}),
    "a ceiling too low": ("/players", {"name": "X", "blows": "28 inH2O", "ceiling": "20 inH2O"}),
    "no state": ("/reeds/5/move", {"to": "gone", "reason": "x"}),
    "a lot of none": ("/reeds", {"name": "none", "count": "0"}),
    "sizes": ("/chanters/1", {"name": "number 1", "version": "1", "sizes": "nothing"}),
    "no such lot of a chooser": ("/choose?player=Isla%20Penhallow&lot=none", None),
    "no such player": ("/choose?player=Nobody", None),
    "no backup": ("/exchange/verify", {"folder": "/none/there"}),
}


@pytest.mark.parametrize("what", _WRONG)
def test_errors_speak_of_fields(client: TestClient, what: str) -> None:
    path, fields = _WRONG[what]
    answer = client.get(path) if fields is None else client.post(path, data=fields)
    found = re.search(r'<(?:div|p) class="problem".*?</(?:div|p)>', answer.text, re.DOTALL)
    if found is None:
        found = re.search(r"<main.*?</main>", answer.text, re.DOTALL)
    assert found is not None
    said = unescape(re.sub(r"<[^>]*>", " ", found[0]))
    assert fields is None or answer.status_code >= 400, what
    assert not _OPTION.search(said), said


def test_an_option_would_be_seen() -> None:
    """Control."""
    assert _OPTION.search("Nearest that works: --reference HERTZ.")
    assert _OPTION.search("See: canebench reed")
    assert not _OPTION.search("13.2 – 14 – a pitch; 2026-11-27")
