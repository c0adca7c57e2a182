"""What the picture shows: plain records, known to every part of the drawing."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class BeamPoint:
    """One note of the picture; `cents` is None when it was not played, `rest_cents` without a beam."""

    note: str
    interval_cents: float
    tolerance_cents: float
    cents: float | None = None
    sd_cents: float | None = None
    spread_cents: float | None = None
    rest_cents: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Beam:
    """All that the picture shows.

    `words` are the rows under the picture, such as ("Height", "3 cents flat"); `ends` are the beam's
    deviations at low A and high A, None where one of them is missing; `description` is the text
    alternative: everything the picture says, in sentences. `label` stands at the beam's end where there
    are several, None for "now" or "before".
    """

    title: str
    subtitle: str
    description: str
    points: tuple[BeamPoint, ...]
    ends: tuple[float, float] | None
    words: tuple[tuple[str, str], ...]
    label: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """A beam that is expected, at low A and high A, with what would lead to it."""

    label: str
    ends: tuple[float, float]
