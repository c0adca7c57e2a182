"""How the page looks: as the system says, light, dark, a dim bench, or high contrast; kept in a cookie."""

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


def theme_of(connection: HTTPConnection) -> str:
    """The theme this browser chose; the system's where it chose none."""
    given = connection.cookies.get(COOKIE, "")
    return given if given in dict(THEMES) else "system"
