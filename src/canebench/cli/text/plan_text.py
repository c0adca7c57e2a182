"""A plan as a page of plain text: the beam now and planned, the act to do next, what is likely to follow.

Guarded by `tests/doors/test_plan_command.py` and `tests/doors/test_plan_pages.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.base.notes import NOTES
from canebench.base.setting import strip_said
from canebench.base.uncertain import Uncertain, number
from canebench.bench.views.newest_take import told_by_all
from canebench.cli.text.words import labelled, paragraph, strong, table, width

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.base.setting import Setting
    from canebench.bench.acts.fitting.after_act import AfterAct
    from canebench.bench.acts.fitting.plan_setting import Plan
    from canebench.fitting.acts import NextAct
    from canebench.fitting.balance import Deviation


_UNANSWERED: Final = "the notes hardly answered the move of the seat."
_DOUBT: Final = (
    "these takes hardly fit one reed in one chanter. Was the setting told rightly (--done, --seat, --tape), "
    "and is it the same reed?"
)
_TELL: Final = (
    "with the next take, --seat, --tape and --pinches tell how it is really set; another reed wants another "
    "fitting file."
)


def plan_text(plan: Plan, *, fitting_path: Path | None) -> str:
    """The page."""
    columns = width()
    fitting = plan.fitting
    basis = (
        "drones that follow low A"
        if fitting.reference_hz is None
        else f"a low A of {fitting.reference_hz:g} Hz"
    )
    takes = f"{len(fitting.takes)} take{'s' if len(fitting.takes) > 1 else ''}"
    parts = [
        strong(f"Plan for {fitting.takes[-1].origin}") + "\n",
        paragraph(
            f"Cents from the {fitting.scale.name} scale on {basis}; the {fitting.chanter.chanter.name} "
            f"chanter; {takes} so far. Setting now: {setting_words(fitting.present)}.",
            columns=columns,
        ),
        "\n",
        _beams(plan, columns),
    ]
    parts += ["\n", *_act(plan.next_act, "Act 1" if plan.steps else "Now", columns)]
    if plan.doubtful:
        parts.append(labelled("Doubt", _TELL, columns=columns))
    if plan.steps[1:]:
        parts += ["\n", paragraph("Then, as far as it can be told from here:", columns=columns)]
        for count, step in enumerate(plan.steps[1:], 2):
            parts.append(labelled(f"Act {count}", step.act.say, columns=columns))
    if fitting_path is not None:
        first = "Do act 1 alone, then" if plan.steps else "With the next take"
        said = f"{first}: canebench measure TAKE --fitting {fitting_path}"
        parts += ["\n", paragraph(said, columns=columns)]
    return "".join(parts)


def after_text(after: AfterAct, *, fitting_path: Path | None = None) -> str:
    """Predicted beside measured, and what was learnt."""
    columns = width()
    rows = [
        (
            note,
            _plain(after.predicted[note]),
            _plain(after.actual[note]),
            number(after.actual[note].cents - after.predicted[note].cents, 1, signed=True),
        )
        if note in after.actual
        else (note, _plain(after.predicted[note]), "not played", "")
        for note in NOTES
    ]
    parts = [
        strong("Predicted and measured") + "\n",
        paragraph(f"Setting: {setting_words(after.setting)}.", columns=columns),
        "\n",
        table(("note", "predicted cents", "measured cents", "difference"), rows, columns=columns),
        "\n",
    ]
    if after.missed:
        missed = (
            f"{', '.join(after.missed)}: further off than predicted; the next plan takes it into account."
        )
        parts.append(labelled("Missed", missed, columns=columns))
    elif after.silent_seat:
        parts.append(labelled("Doubt", _UNANSWERED, columns=columns))
    elif after.actual:
        parts.append(labelled("Borne out", "every note within its uncertainty.", columns=columns, indent=11))
    if after.doubtful:
        parts.append(labelled("Doubt", _DOUBT, columns=columns))
    for lesson in after.lessons:
        said = f"{lesson.what} {lesson.after.text('c', signed=True)} (before: {_bare(lesson.before)})."
        parts.append(labelled("Learnt", said, columns=columns))
    if fitting_path is not None:
        said = f"Plan again: canebench plan --fitting {fitting_path}"
        parts += ["\n", paragraph(said, columns=columns)]
    return "".join(parts)


def setting_words(setting: Setting) -> str:
    """A setting in a sentence's words."""
    seat = setting.seat_mm
    depth = (
        "seated at zero" if seat == 0 else f"{number(abs(seat), 2)} mm {'deeper' if seat > 0 else 'higher'}"
    )
    tape = ", ".join(f"{hole} {strip_said(covered)}" for hole, covered in setting.tape_mm.items())
    pinches = f", pinched {setting.pinches} times" if setting.pinches > 1 else ", pinched once"
    return f"{depth}, {f'tape on {tape}' if tape else 'no tape'}{pinches if setting.pinches else ''}"


def _beams(plan: Plan, columns: int) -> str:
    """The newest take, what all takes together say where that is another thing, and what is planned."""
    found = {"note": list(NOTES), "now cents": [_now(plan, note) for note in NOTES]}
    all_say = [told_by_all(plan, note) for note in NOTES]
    if any(one is not None for one in all_say):
        found["by all takes"] = ["" if one is None else _plain(one) for one in all_say]
    if plan.steps:
        found["planned cents"] = [_plain(plan.steps[-1].beam[note]) for note in NOTES]
    found["in tune within"] = [number(plan.tolerance_cents[note], 0) for note in NOTES]
    return table(tuple(found), zip(*found.values(), strict=True), columns=columns)


def _now(plan: Plan, note: str) -> str:
    return _plain(plan.now[note]) if note in plan.heard else "not played"


def _act(act: NextAct, label: str, columns: int) -> list[str]:
    lines = [(label, act.say), ("Why", act.why), ("Check", act.check), ("Stop", act.stop)]
    lines += [("Care", caution) for caution in act.cautions]
    return [labelled(name, text, columns=columns) for name, text in lines]


def _plain(deviation: Deviation) -> str:
    if abs(deviation.cents) < 0.005 and deviation.sd_cents < 0.005:
        return "0"
    return Uncertain(value=deviation.cents, sd=deviation.sd_cents).text("", signed=True).strip()


def _bare(value: Uncertain) -> str:
    return value.text("c", signed=True)
