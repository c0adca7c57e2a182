"""What written objects are made of: figures, notes, cents, settings, acts; and how a record becomes one.

An object for JSON is a class. Its JSON schema in docs/ is made from the class by `scripts/schemas`, so that a
field's type, bounds and description stand in one place. Guarded by `tests/house/test_schemas.py`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any, Final, TypeVar

from msgspec import Meta, Struct, to_builtins

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.fitting.acts import Act

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.base.setting import Setting
    from canebench.base.uncertain import Uncertain
    from canebench.fitting.acts import NextAct
    from canebench.fitting.balance import Deviation

#: Far finer than any uncertainty here, and coarse enough to read.
_DIGITS: Final = 6

Json = dict[str, Any]
Kind = TypeVar("Kind", bound="Written")

NoteName = Annotated[str, Meta(pattern=f"^({'|'.join(NOTES)})$")]
HoleName = Annotated[str, Meta(pattern=f"^({'|'.join(HOLES)})$")]
Size = Annotated[float, Meta(ge=0)]
Pitch = Annotated[float, Meta(gt=0)]
ByNote = dict[NoteName, float | None]


class Written(Struct, frozen=True):
    """The root of all written objects; what is absent is null, never 0."""


def told(text: str) -> Meta:
    """What a schema says of a field."""
    return Meta(description=text)


def written(kind: type[Kind], record: object, **other: object) -> Kind:
    """A record's fields under the names they have there, as they are written; `other` has the rest."""
    same = [name for name in kind.__struct_fields__ if name not in other]
    return kind(**{name: _as_written(getattr(record, name)) for name in same}, **other)


def plain(found: Written) -> Json:
    """The object as plain JSON values, in the order of its fields."""
    values: Json = to_builtins(found)
    return values


def figure(value: float | None) -> float | None:
    """A number as it is written; null for what is absent."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), _DIGITS)


def _as_written(value: object) -> object:
    if isinstance(value, tuple):
        return tuple(_as_written(one) for one in value)
    return figure(value) if isinstance(value, int | float) and not isinstance(value, bool) else value


class CentsWritten(Written, frozen=True, kw_only=True):
    """Cents with their standard uncertainty."""

    cents: float | None
    sd_cents: Size | None


Beam = Annotated[
    dict[NoteName, CentsWritten],
    told("Cents from target and their standard uncertainty, note by note."),
]


def uncertain_cents(value: Uncertain) -> CentsWritten:
    """A value in cents."""
    return CentsWritten(cents=figure(value.value), sd_cents=figure(value.sd))


def beam_of(beam: Mapping[str, Deviation]) -> dict[str, CentsWritten]:
    """Deviations, note by note."""
    return {note: written(CentsWritten, deviation) for note, deviation in beam.items()}


class SettingWritten(Written, frozen=True, kw_only=True):
    """A setting."""

    seat_mm: Annotated[float, told("Depth against a firm hand seat at the first take; deeper is positive.")]
    tape_mm: Annotated[
        dict[HoleName, Size], told("Tape down from the hole's upper edge; bare holes are left out.")
    ]
    pinches: Annotated[int, Meta(ge=0)]


def setting_of(setting: Setting) -> SettingWritten:
    """A setting with all its digits: a plan goes on from it."""
    return SettingWritten(seat_mm=setting.seat_mm, tape_mm=dict(setting.tape_mm), pinches=setting.pinches)


class ActWritten(Written, frozen=True, kw_only=True):
    """An act in words."""

    act: Act
    say: str
    why: str
    check: str
    stop: str
    cautions: tuple[str, ...]


def act_of(act: NextAct) -> ActWritten:
    """An act as it is written."""
    return written(ActWritten, act)
