"""Every kind of page on the invented season, once."""

from __future__ import annotations

from typing import Final

EVERY_PAGE: Final = (
    "/",
    "/fit/1/1",
    "/fit/5/1",
    "/history",
    "/reeds",
    "/reeds?state=settled&lot=spring",
    "/reeds/1",
    "/reeds/15",
    "/reeds/1/ahead",
    "/reeds/1/spells",
    "/reeds/1/spells/1",
    "/ahead/kept",
    "/lots",
    "/lots/2",
    "/lots/1/worth?against=trial&need=6&by=2027-03-01",
    "/calendar",
    "/calendar/sheet?minutes=30",
    "/choose?player=Isla%20Penhallow",
    "/compare?reed=1&reed=2",
    "/compare?lot=spring&lot=summer",
    "/spares?each=3",
    "/players",
    "/players/1",
    "/chanters",
    "/chanters/1",
    "/takes",
    "/takes/1",
    "/settings",
    "/care",
    "/exchange",
    "/exchange/check",
    "/help",
    "/microphone",
)
