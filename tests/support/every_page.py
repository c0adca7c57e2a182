"""Every kind of page on the invented season, once."""

from __future__ import annotations

from typing import Final

EVERY_PAGE: Final = (
    "/",
    "/fit/1/1",
    "/fit/5/1",
    "/history",
)
