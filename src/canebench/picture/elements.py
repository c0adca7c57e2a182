"""SVG elements, built as a tree so that every text is escaped; colours that a page can replace."""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import TYPE_CHECKING, Final
from xml.etree.ElementTree import Element, SubElement

from canebench.base.errors import InputError
from canebench.picture.lettering import printable

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Role to colour; blue and vermilion are the colour-blind-safe pair of Okabe & Ito (2008). A page replaces
#: one through the custom property `--beam-<role>`.
COLOURS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "paper": "#ffffff",
        "ink": "#1b2230",
        "quiet": "#525b69",
        "rule": "#d5d2c8",
        "zero": "#77736a",
        "band": "#ebe8df",
        "spread": "#c6c3b9",
        "line": "#0072b2",
        "left": "#d55e00",
    }
)


def check_id_prefix(id_prefix: str) -> None:
    """An `InputError` for what cannot begin the ids of a picture's parts."""
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9-]*", id_prefix):
        raise InputError(
            field="id prefix", given=repr(id_prefix), allowed="a letter, then letters, digits and hyphens"
        )


def layer(
    parent: Element, *, fill: str | None = None, stroke: str | None = None, **attributes: object
) -> Element:
    """A group in the colours of the roles `fill` and `stroke`.

    The outer group holds the plain colours, for renderers that know no custom properties and so ignore
    the inner group's. No style element or attribute is used: a strict content policy forbids both.
    """
    roles = {"fill": fill, "stroke": stroke}
    plain = {key: COLOURS[role] if role else "none" for key, role in roles.items()}
    outer = SubElement(parent, "g", plain)
    named = {key: f"var(--beam-{role}, {COLOURS[role]})" for key, role in roles.items() if role}
    return SubElement(outer, "g", {**named, **as_attributes(attributes)})


def draw(parent: Element, tag: str, **attributes: object) -> Element:
    """One element; numbers are written with one decimal, underscores in names become hyphens."""
    return SubElement(parent, tag, as_attributes(attributes))


def write(parent: Element, text: str, x: float, y: float, **attributes: object) -> Element:
    """One line of text."""
    element = SubElement(parent, "text", as_attributes({"x": x, "y": y, **attributes}))
    element.text = printable(text)
    return element


def as_attributes(values: Mapping[str, object]) -> dict[str, str]:
    """Attributes as SVG writes them; None is left out."""
    return {key.replace("_", "-"): _number(value) for key, value in values.items() if value is not None}


def _number(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.1f}".removesuffix(".0")
    return printable(str(value))
