"""A plan as a page of plain text: the beam now and planned, acts in working order, what was weighed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.base.notes import NOTES
from canebench.base.uncertain import Uncertain, number
from canebench.cli.text.words import labelled, paragraph, strong, table, width

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from canebench.base.setting import Setting
    from canebench.bench.acts.fitting.after_act import AfterAct
    from canebench.bench.acts.fitting.plan_setting import Option, Plan
    from canebench.fitting.acts import NextAct
    from canebench.fitting.balance import Deviation


_DOUBT: Final = (
    "these takes hardly fit one reed in one chanter. Was the setting told rightly (--done, --seat, --tape), "
    "and is it the same reed?"
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
            f"chanter, fitted to {takes}. Setting now: {setting_words(fitting.present)}.",
            columns=columns,
        ),
        "\n",
        table(("note", "now cents", "planned cents", "in tune within"), _rows(plan), columns=columns),
    ]
    if plan.knowledge.doubtful:
        parts += ["\n", labelled("Doubt", _DOUBT, columns=columns)]
    if plan.verdict is not None:
        parts += ["\n", *_act(plan.verdict, "Verdict", columns)]
    if not plan.steps:
        parts += [
            "\n",
            paragraph("Nothing to do: the setting is the best within these limits.", columns=columns),
        ]
    elif plan.verdict is not None:
        parts += [
            "\n",
            paragraph("The nearest setting within these limits, if you want to try:", columns=columns),
        ]
    for count, step in enumerate(plan.steps, 1):
        parts += ["\n", *_act(step.act, f"Act {count}", columns)]
    parts += ["\n", *_weighed(plan, columns)]
    if fitting_path is not None and plan.steps:
        said = f"Do act 1, then: canebench measure TAKE --fitting {fitting_path}"
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
    tape = ", ".join(f"{hole} {number(covered, 1)} mm" for hole, covered in setting.tape_mm.items())
    pinches = f", pinched {setting.pinches} times" if setting.pinches > 1 else ", pinched once"
    return f"{depth}, {f'tape on {tape}' if tape else 'no tape'}{pinches if setting.pinches else ''}"


def _rows(plan: Plan) -> list[tuple[str, ...]]:
    planned = plan.steps[-1].beam if plan.steps else plan.now
    return [
        (note, _plain(plan.now[note]), _plain(planned[note]), number(plan.tolerance_cents[note], 0))
        for note in NOTES
    ]


def _act(act: NextAct, label: str, columns: int) -> list[str]:
    lines = [(label, act.say), ("Why", act.why), ("Check", act.check), ("Stop", act.stop)]
    lines += [("Care", caution) for caution in act.cautions]
    return [labelled(name, text, columns=columns) for name, text in lines]


def _weighed(plan: Plan, columns: int) -> list[str]:
    """What one strip more or less brings."""
    found = []
    for option in plan.options:
        strips = f"{option.strips} strip{'' if option.strips == 1 else 's'}"
        mark = " (planned)" if option is plan.chosen else ""
        said = f"{setting_words(option.setting)}: {_worst(option, plan.tolerance_cents)}{mark}"
        found.append(labelled(strips, said, columns=columns, indent=10))
    return found


def _worst(option: Option, tolerance: Mapping[str, float]) -> str:
    note = max(option.cents, key=lambda name: abs(option.cents[name]) / tolerance[name])
    cents = option.cents[note]
    side = "sharp" if cents > 0 else "flat"
    return f"the worst is {note}, {number(abs(cents), 1)} cents {side}"


def _plain(deviation: Deviation) -> str:
    if abs(deviation.cents) < 0.005 and deviation.sd_cents < 0.005:
        return "0"
    return Uncertain(value=deviation.cents, sd=deviation.sd_cents).text("", signed=True).strip()


def _bare(value: Uncertain) -> str:
    return value.text("c", signed=True)
