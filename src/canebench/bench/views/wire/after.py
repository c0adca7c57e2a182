"""What came of an act, as a written object. Guarded by `tests/doors/test_plan_wire.py`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.bench.views.wire.pieces import (
    Beam,
    CentsWritten,
    Json,
    NoteName,
    SettingWritten,
    Written,
    beam_of,
    plain,
    setting_of,
    uncertain_cents,
)

if TYPE_CHECKING:
    from canebench.bench.acts.fitting.after_act import AfterAct

AFTER_SCHEMA: Final = "canebench.after-act/1"


class LessonWritten(Written, frozen=True, kw_only=True):
    """One thing that the take taught."""

    what: str
    before: CentsWritten
    after: CentsWritten


class AfterWritten(Written, frozen=True, kw_only=True, tag_field="schema", tag=AFTER_SCHEMA):
    """What an act did, beside what was predicted.

    Part of what `canebench measure --fitting --json` prints.
    """

    setting: SettingWritten
    predicted: Beam
    actual: Beam
    missed: tuple[NoteName, ...]
    doubtful: bool
    learnt: tuple[LessonWritten, ...]


def after_of(after: AfterAct) -> AfterWritten:
    """What was predicted, what came of it, and what it taught."""
    return AfterWritten(
        setting=setting_of(after.setting),
        predicted=beam_of(after.predicted),
        actual=beam_of(after.actual),
        missed=after.missed,
        doubtful=after.doubtful,
        learnt=tuple(
            LessonWritten(
                what=lesson.what, before=uncertain_cents(lesson.before), after=uncertain_cents(lesson.after)
            )
            for lesson in after.lessons
        ),
    )


def after_object(after: AfterAct) -> Json:
    """The same as plain JSON values."""
    return plain(after_of(after))
