"""Records to HTML: one frozen record a template, everything escaped, static files under one content hash.

Guarded by `tests/web/test_crawl.py` and, with hostile text in every field, `tests/web/test_injection.py`.
"""

from __future__ import annotations

from functools import cache, partial
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING, ClassVar, Final, Protocol
from urllib.parse import urlsplit

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.responses import HTMLResponse

from canebench import __version__
from canebench.base.clock.local_time import day_said, time_said, zone_said
from canebench.base.fingering import HOLES
from canebench.bench.acts.band import band_defaults
from canebench.web.context import context_of
from canebench.web.forms.flash import notices
from canebench.web.pages.fitting_view import STAGES
from canebench.web.pages.theme import TEXTS, THEMES, text_of, theme_of

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

    from starlette.requests import Request

#: The rooms of the page in the order of the work: path, name.
ROOMS: Final = (
    ("/", "Fitting"),
    ("/reeds", "Reeds"),
    ("/players", "Players"),
    ("/chanters", "Chanters"),
    ("/takes", "Takes"),
    ("/care", "Care"),
    ("/exchange", "Files"),
    ("/help", "Help"),
)

#: The key that leads to a room, by its name; a room without one has none. The last is the bench screen’s.
LETTERS: Final = {
    "Fitting": "f",
    "Reeds": "r",
    "Players": "p",
    "Chanters": "c",
    "Takes": "t",
    "Care": "e",
    "Files": "i",
    "Help": "h",
    "Speak": "s",
}


class Page(Protocol):
    """What a template is filled from: its own fields, a title, and the room that it belongs to."""

    template: ClassVar[str]
    room: ClassVar[str]

    @property
    def title(self) -> str:
        """What stands in the window's bar and over the page."""
        ...


def show(request: Request, page: Page, *, status: int = 200) -> HTMLResponse:
    """Fill the page's template."""
    found = environment().get_template(page.template)
    path, query = _place(request)
    ledger = context_of(request).ledger
    band = band_defaults(ledger)
    html = found.render(
        page=page,
        rooms=ROOMS,
        letters=LETTERS,
        static=static_prefix(),
        theme=theme_of(request),
        themes=THEMES,
        text=text_of(request),
        texts=TEXTS,
        notices=notices(request, ledger),
        band=band,
        bench=context_of(request),
        when=partial(time_said, zone=band.zone),
        day=partial(day_said, zone=band.zone),
        today=day_said(ledger.clock(), band.zone),
        zone="" if band.zone is None else str(band.zone),
        clock=zone_said(band.zone),
        path=path,
        query=query,
        version=__version__,
    )
    return HTMLResponse(html, status_code=status)


def _place(request: Request) -> tuple[str, str]:
    """Where one is, to come back to: for a form that was refused, the page that it stood on."""
    if request.method in ("GET", "HEAD"):
        return request.url.path, request.url.query
    came_from = urlsplit(request.headers.get("referer", "/"))
    return came_from.path, came_from.query


def picture(svg: str) -> Markup:
    """A picture of ours, whose texts were escaped when it was made."""
    return Markup(svg)  # noqa: S704 - built as a tree by canebench.picture


def as_data(text: str) -> Markup:
    """JSON for a script of data: nothing in it can end the element."""
    safe = text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")
    return Markup(safe)  # noqa: S704 - no letter that HTML minds is left


@cache
def environment() -> Environment:
    """The templates; a name that a page lacks is an error, never an empty place."""
    made = Environment(
        loader=PackageLoader("canebench.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["picture"] = picture
    made.filters["safe_json"] = as_data
    made.globals |= {"holes": HOLES, "stages": STAGES}
    return made


@cache
def static_prefix() -> str:
    """`/static/HASH`: modules name each other by relative paths, so one hash stands for the whole tree."""
    digest = sha256()
    for name, file in sorted(_tree(files("canebench.web") / "static", "")):
        digest.update(name.encode() + b"\0" + file.read_bytes())
    return f"/static/{digest.hexdigest()[:16]}"


def _tree(folder: Traversable, name: str) -> list[tuple[str, Traversable]]:
    found = []
    for item in folder.iterdir():
        path = f"{name}/{item.name}"
        found += _tree(item, path) if item.is_dir() else [(path, item)]
    return found
