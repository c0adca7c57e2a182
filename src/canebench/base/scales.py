"""Target scales: nine ratios to low A, each with its published source."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.notes import LOW_A, NOTES
from canebench.base.units import hz_to_cents

#: Ratios further than this from 1 are no chanter's; they are a slip (hertz or cents for a ratio).
_RATIO_RANGE = (0.5, 3.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A target scale. `ratios` maps each of the nine notes to its ratio to low A (low A itself 1)."""

    name: str
    title: str
    source: str
    ratios: dict[str, float]

    def __post_init__(self) -> None:
        if tuple(self.ratios) != NOTES:
            raise InputError(
                field="scale notes", given=", ".join(self.ratios), allowed=f"needed are {', '.join(NOTES)}"
            )
        for note, ratio in self.ratios.items():
            if not _RATIO_RANGE[0] <= ratio <= _RATIO_RANGE[1]:
                raise InputError(
                    field=f"ratio of {note}",
                    given=f"{ratio:g}",
                    allowed=f"a ratio to low A is from {_RATIO_RANGE[0]} to {_RATIO_RANGE[1]}",
                )
        if self.ratios[LOW_A] != 1.0:
            raise InputError(field="ratio of low A", given=f"{self.ratios[LOW_A]:g}", allowed="low A is 1")
        if list(self.ratios.values()) != sorted(self.ratios.values()):
            raise InputError(field="ratios", given="unordered", allowed="each note is above the one before")

    def cents(self, note: str) -> float:
        """Interval of `note` above low A in cents."""
        return hz_to_cents(self.ratios[note], 1.0)


@cache
def published_scales() -> dict[str, Scale]:
    """The scales of `scales.toml` by name, the default first. Guard: `tests/published/test_scales.py`."""
    table = _table()
    default = table.pop("default")
    names = sorted(table, key=lambda name: name != default)
    return {name: _scale(name, table[name]) for name in names}


def scale_named(name: str) -> Scale:
    """The published scale of that name; an unknown name is an error that lists the known ones."""
    scales = published_scales()
    if name not in scales:
        raise UnknownNameError(field="scale", given=name, known=scales)
    return scales[name]


def _table() -> dict[str, Any]:
    text = files("canebench.base").joinpath("scales.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _scale(name: str, row: dict[str, Any]) -> Scale:
    ratios = row["ratios"]
    if not isinstance(ratios, list):
        raise InputError(
            field=f"ratios of {name}", given=repr(ratios), allowed="a list of nine ratios is needed"
        )
    values = (float(Fraction(str(ratio))) for ratio in ratios)
    return Scale(
        name=name,
        title=str(row["title"]),
        source=str(row["source"]),
        ratios=dict(zip(NOTES, values, strict=True)),
    )


DEFAULT_SCALE: Scale = next(iter(published_scales().values()))
