"""What the help shows: a beam to learn by, of invented readings, and what a beat is in cents.

Guarded by `tests/web/test_help_page.py`.
"""

from __future__ import annotations

from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from canebench.base.notes import HIGH_A, LOW_A, NOTES, C, E
from canebench.base.scales import published_scales
from canebench.base.uncertain import number
from canebench.base.units import CENTS_PER_NEPER
from canebench.bench.views.drawing.draw_fitting import NARROW, Drawn
from canebench.fitting.tolerance import TOLERANCE_CENTS
from canebench.picture.beam import WIDTH, Beam, BeamPoint, Predicted, beam_svg

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Cents from the scale: an octave 12 cents narrow, lying 4 cents flat, D well above the beam.
CENTS: Final[Mapping[str, float]] = MappingProxyType(
    dict(zip(NOTES, (3.0, 2.0, 0.5, -1.0, 9.0, -4.0, -6.5, -8.5, -10.0), strict=True))
)
_SD: Final = 0.8
_LOW_A_HZ: Final = 480.0
_AFTER: Final = (7.0, 7.0)


def beats() -> tuple[tuple[str, str], ...]:
    """Cents of a note for one beat a second with a partial of the drones, low A at 480 Hz.

    The note's own pitch f beats |f - k f_drone| times a second, so a beat is 1731 / f cents.
    """
    scale = next(iter(published_scales().values()))
    return tuple(
        (note, number(CENTS_PER_NEPER / (_LOW_A_HZ * scale.ratios[note]), 1))
        for note in (LOW_A, C, E, HIGH_A)
    )


@cache
def example_beam() -> Drawn:
    """For a wide place and for a narrow one."""
    scale = next(iter(published_scales().values()))
    low, high = CENTS[LOW_A], CENTS[HIGH_A]
    span = scale.cents(HIGH_A) - scale.cents(LOW_A)
    points = tuple(
        BeamPoint(
            note=note,
            interval_cents=scale.cents(note),
            tolerance_cents=TOLERANCE_CENTS[note],
            cents=cents,
            sd_cents=_SD,
            rest_cents=cents - low - (high - low) * (scale.cents(note) - scale.cents(LOW_A)) / span,
        )
        for note, cents in CENTS.items()
    )
    said = ", ".join(f"{note} {cents:+.1f}" for note, cents in CENTS.items())
    beam = Beam(
        title="An invented take",
        subtitle=f"cents from the scale {scale.title}",
        description=f"Deviation in cents: {said}. Dotted: level and higher, once the reed sits deeper.",
        points=points,
        ends=(low, high),
        words=(),
    )
    predicted = Predicted(label="after the act", ends=_AFTER)
    return Drawn(
        wide=beam_svg(beam, predicted=predicted, id_prefix="example", width=WIDTH),
        narrow=beam_svg(beam, predicted=predicted, id_prefix="example-narrow", width=NARROW),
    )
