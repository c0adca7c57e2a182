"""Draw a plan: the beam as it should be after the last act, over the one there is.

Guarded by `tests/doors/test_plan_command.py`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.uncertain import number
from canebench.base.whole_file import write_whole
from canebench.bench.views.newest_take import heard_now
from canebench.fitting.balance import balance_of
from canebench.picture.beam import Beam, BeamPoint, beam_svg

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from canebench.bench.acts.fitting.plan_setting import Plan
    from canebench.fitting.balance import Deviation


def draw_plan(plan: Plan) -> str:
    """The SVG: planned in full, now in outline under it."""
    heard = heard_now(plan)
    if not plan.steps:
        return beam_svg(_beam(plan, heard, "now", words=_words(plan)))
    now = replace(_beam(plan, heard, "now", words=()), label="now")
    planned = _beam(plan, plan.steps[-1].beam, "as planned; in outline as it is now", words=_words(plan))
    return beam_svg(replace(planned, label="planned"), before=now)


def save_plan(plan: Plan, path: Path) -> None:
    """Write the SVG of `draw_plan` to `path`; an `InputError` says where that cannot be."""
    write_whole(path, draw_plan(plan).encode(), field="picture")


def _beam(
    plan: Plan, deviations: Mapping[str, Deviation], when: str, *, words: tuple[tuple[str, str], ...]
) -> Beam:
    balance = balance_of(deviations, reference_sd_cents=0.0)
    rest = {} if balance is None else balance.rest_cents
    points = tuple(
        BeamPoint(
            note=note,
            interval_cents=deviations[note].interval_cents,
            tolerance_cents=plan.tolerance_cents[note],
            cents=deviations[note].cents,
            sd_cents=deviations[note].sd_cents,
            rest_cents=rest[note].value if note in rest and note not in (LOW_A, HIGH_A) else None,
        )
        for note in NOTES
        if note in deviations
    )
    said = ", ".join(
        f"{note} {number(deviations[note].cents, 1, signed=True)}" for note in NOTES if note in deviations
    )
    return Beam(
        title=f"Plan for {plan.fitting.takes[-1].origin}",
        subtitle=f"Cents from the {plan.fitting.scale.name} scale, {when}",
        description=f"Cents from target, {when}: {said}.",
        points=points,
        ends=(deviations[LOW_A].cents, deviations[HIGH_A].cents),
        words=words,
    )


def _words(plan: Plan) -> tuple[tuple[str, str], ...]:
    acts = [(f"Act {count}", step.act.say) for count, step in enumerate(plan.steps, 1)]
    return tuple(acts[:4]) if acts else (("Plan", "Nothing to do within these limits."),)
