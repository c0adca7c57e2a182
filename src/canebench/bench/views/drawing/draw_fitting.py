"""The pictures of a fitting: the beam, what the next act should make of it, what the last act did, the tape.

Guarded by `tests/doors/test_fitting_now.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.bench.views.drawing.draw_beam import beam_of
from canebench.fitting.tolerance import TOLERANCE_CENTS
from canebench.picture.beam import WIDTH, Beam, BeamPoint, Predicted, beam_svg
from canebench.picture.tape_drawing import TapedHole, tape_svg

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.base.scales import Scale
    from canebench.base.setting import Setting
    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.bench.views.fitting_now import FittingNow
    from canebench.bore.chanter_file import ChanterFile
    from canebench.fitting.balance import Deviation

#: Of the drawing for a telephone's width: letters stay as large as in the wide one.
NARROW: Final = 430.0
#: Heights of the plots on the bench screen, wide and narrow; heading, words and, in the narrow one, values
#: stand elsewhere.
_BARE: Final = (235.0, 140.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One picture for a wide place and for a narrow one, SVG."""

    wide: str
    narrow: str


def draw_now(now: FittingNow) -> Drawn | None:
    """The newest take's beam, dotted what the next act should make of it; None before the first take."""
    if now.report is None:
        return None
    beam = _plain(now.report, "The beam now")
    predicted = None
    if now.plan is not None and now.plan.steps and beam.ends is not None:
        predicted = _ends(now.plan.steps[0].beam, "after the act")
    return _both(beam, predicted=predicted, prefix="now", bare=True)


def draw_unplayed(scale: Scale, *, title: str, prefix: str) -> Drawn:
    """The nine notes of a scale, none of them heard yet: what a beam is laid on."""
    points = tuple(
        BeamPoint(note=note, interval_cents=scale.cents(note), tolerance_cents=TOLERANCE_CENTS[note])
        for note in NOTES
    )
    beam = Beam(
        title=title, subtitle="", description="No note is heard yet.", points=points, ends=None, words=()
    )
    return _both(beam, prefix=prefix, bare=True)


def draw_after(now: FittingNow) -> Drawn | None:
    """What the last act did: measured in full, predicted dotted, before it in outline."""
    if now.report is None or now.after is None or now.before is None:
        return None
    beam = replace(_plain(now.report, "The last act: predicted and measured"), label="measured")
    predicted = _ends(now.after.predicted, "predicted") if beam.ends is not None else None
    return _both(beam, before=_plain(now.before, "Before"), predicted=predicted, prefix="after")


def draw_expected(now: FittingNow) -> Drawn | None:
    """All nine as the whole plan should leave them; None where nothing is planned."""
    if now.plan is None or not now.plan.steps:
        return None
    last = now.plan.steps[-1].beam
    said = ", ".join(f"{note} {last[note].cents:+.1f}" for note in NOTES if note in last)
    points = tuple(_expected(note, last[note]) for note in NOTES if note in last)
    beam = Beam(
        title="When all of it is done",
        subtitle=f"cents from the scale {now.fitting.scale.title}, as the plan predicts",
        description=f"Predicted deviation in cents: {said}.",
        points=points,
        ends=(last[LOW_A].cents, last[HIGH_A].cents),
        words=(),
    )
    return _both(beam, prefix="expected")


def draw_tape(
    file: ChanterFile, setting: Setting, *, title: str, planned: Setting | None = None, prefix: str = "tape"
) -> str:
    """Tape drawn on the chanter as it is, and dotted what is planned to become of it."""
    holes = [
        TapedHole(
            name=name,
            position_mm=hole.position_mm,
            diameter_mm=hole.diameter_mm,
            covered_mm=setting.tape_mm.get(name, 0.0),
            at_back=name == HIGH_A,
            planned_mm=None if planned is None else planned.tape_mm.get(name, 0.0),
        )
        for name, hole in zip(HOLES, file.chanter.holes, strict=True)
    ]
    return tape_svg(holes, title=title, id_prefix=prefix)


def draw_take(report: TakeReport, *, title: str, prefix: str = "take", bare: bool = False) -> Drawn:
    """One take's beam, without words: the page has them beside it; `bare` without heading and legend too."""
    return _both(_plain(report, title), prefix=prefix, bare=bare)


def _plain(report: TakeReport, title: str) -> Beam:
    return replace(beam_of(report, title=title), words=())


def _ends(beam: Mapping[str, Deviation], label: str) -> Predicted:
    return Predicted(label=label, ends=(beam[LOW_A].cents, beam[HIGH_A].cents))


def _expected(note: str, deviation: Deviation) -> BeamPoint:
    return BeamPoint(
        note=note,
        interval_cents=deviation.interval_cents,
        tolerance_cents=TOLERANCE_CENTS[note],
        cents=deviation.cents,
        sd_cents=deviation.sd_cents,
    )


def _both(
    beam: Beam,
    *,
    prefix: str,
    before: Beam | None = None,
    predicted: Predicted | None = None,
    bare: bool = False,
) -> Drawn:
    wide, narrow = (
        beam_svg(
            beam,
            before=before,
            predicted=predicted,
            id_prefix=f"{prefix}-{name}",
            width=width,
            bare_height=height if bare else None,
            values_too=not bare or name == "wide",
        )
        for name, width, height in zip(("wide", "narrow"), (WIDTH, NARROW), _BARE, strict=True)
    )
    return Drawn(wide=wide, narrow=narrow)
