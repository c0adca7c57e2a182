"""How the page looks: as the system says, light, dark, a dim bench or high contrast; how large its text is.

Each is kept in a cookie. Guarded by `tests/web/test_forms.py` and `tests/browser/test_large_text.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from starlette.requests import HTTPConnection

#: Name in the cookie, and what it is called.
THEMES: Final = (
    ("system", "As the system"),
    ("light", "Light"),
    ("dark", "Dark"),
    ("dim", "Dim bench"),
    ("contrast", "High contrast"),
)
COOKIE: Final = "canebench-theme"
#: Sizes of text: as the browser has it, 125 % and 150 % of that.
TEXTS: Final = (("normal", "Normal"), ("large", "Large"), ("largest", "Largest"))
TEXT_COOKIE: Final = "canebench-text"


def theme_of(connection: HTTPConnection) -> str:
    """The theme this browser chose; the system's where it chose none."""
    given = connection.cookies.get(COOKIE, "")
    return given if given in dict(THEMES) else "system"


def text_of(connection: HTTPConnection) -> str:
    """The size of text this browser chose; normal where it chose none."""
    given = connection.cookies.get(TEXT_COOKIE, "")
    return given if given in dict(TEXTS) else "normal"
