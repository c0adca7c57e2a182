"""Pictures as small as a line of a list: where a beam lies, how strong a reed is; words stand beside each.

Guarded by `tests/web/test_glance.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.bench.acts.reeds.strengths import KnownStrength

#: What the small pictures span: cents to each side of the target, kPa from nothing.
SPAN_CENTS: Final = 30.0
SPAN_KPA: Final = 12.0
#: Their sizes, in their own units, and how far a mark keeps from the edge.
BEAM_HEIGHT: Final = 26.0
BAR_WIDTH: Final = 72.0
_KEPT_OFF: Final = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallBeam:
    """Heights of the beam's two ends in the picture, from its top; `beyond` where one is off its edge."""

    low: float
    high: float
    beyond: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthBar:
    """How far the bar reaches; `doubtful` where it was read before a pinch or told by mouth."""

    reach: float
    doubtful: bool


def small_beam(report: TakeReport | None) -> SmallBeam | None:
    """The beam through the two As of a take; None where it did not hear both."""
    if report is None or report.balance is None:
        return None
    height, tilt = report.balance.height_cents.value, report.balance.tilt_cents.value
    low, high = height - tilt / 2, height + tilt / 2
    return SmallBeam(low=_place(low), high=_place(high), beyond=max(abs(low), abs(high)) > SPAN_CENTS)


def _place(cents: float) -> float:
    held = max(-SPAN_CENTS, min(SPAN_CENTS, cents))
    middle = BEAM_HEIGHT / 2
    return round(middle - held / SPAN_CENTS * (middle - _KEPT_OFF), 1)


def strength_bar(known: KnownStrength | None, *, by_mouth: bool) -> StrengthBar | None:
    """A bar as long as the playing pressure; None where nothing is known."""
    if known is None:
        return None
    reach = min(1.0, known.kpa.value / SPAN_KPA) * BAR_WIDTH
    return StrengthBar(reach=round(reach, 1), doubtful=by_mouth or known.before is not None)
