"""What was done since the last take: one of a few ways to say it, and a setting told in millimetres.

Nothing is taken for granted, and nothing that was filled in is passed over. Guarded by
`tests/web/test_told_setting.py`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.fingering import HOLES
from canebench.bench.acts.fitting.fit_request import ALL, FitRequest
from canebench.bench.acts.fitting.read_takes import check_act
from canebench.fitting.acts import Act

if TYPE_CHECKING:
    from canebench.bench.views.fitting_now import FittingNow
    from canebench.web.forms.forms import Form

#: What was done since the last take, and how many acts of the plan that is.
SINCE: Final = {"act": 1, "nothing": 0, "all": ALL, "other": 0}
_OTHER: Final = "other"
_PLANNED: Final = ("act", "all")


def told_from(form: Form, now: FittingNow, asked: FitRequest) -> FitRequest:
    """With what was done since the last take, and the room."""
    since = _since(form, now)
    if since in _PLANNED and form.text("read_act") is not None:
        check_act(read=form.text("read_act") or "", now=act_read(now))
    asked = replace(
        asked,
        done=SINCE[since],
        room_degc=form.number("room_degc", "temperature"),
        room_rh=form.number("room_rh", "humidity"),
        warm_min=form.number("warm_min", "minutes warm"),
    )
    pinches = now.fitting.present.pinches + (1 if was_pinched(form, now) else 0)
    if since != _OTHER:
        return replace(asked, pinches=pinches if now.takes else None)
    return replace(
        asked,
        seat_mm=form.number("seat", "seat"),
        tape_mm=_tape_told(form, now) or None,
        pinches=pinches,
    )


def act_read(now: FittingNow) -> str:
    """The act that "the act above" stands for; nothing where none is planned."""
    return now.plan.steps[0].act.say if now.plan is not None and now.plan.steps else ""


def was_pinched(form: Form, now: FittingNow) -> bool:
    """Whether what was done since the last take included a pinch."""
    since = _since(form, now)
    if since == _OTHER:
        return form.ticked("pinched")
    steps = now.plan.steps if now.plan is not None else ()
    counted = steps if since == "all" else steps[:1] if since == "act" else ()
    return any(step.act.act is Act.PINCH for step in counted)


def _since(form: Form, now: FittingNow) -> str:
    """How it was said; a setting that was filled in says it too, where nothing else does."""
    since, filled = form.text("since"), _filled_in(form, now)
    label, other = (
        ("done since the last take", "Something else")
        if now.takes
        else ("the setting now", "Another setting, told here")
    )
    if since is None and filled:
        return _OTHER
    if since is None:
        raise InputError(
            field=label,
            given="nothing",
            allowed="one of them is needed: what the take is learnt from depends on it",
            nearest="a tick at what is so",
        )
    if since not in SINCE:
        raise InputError(field=label, given=repr(since), allowed=f"one of {', '.join(SINCE)}")
    if filled and since != _OTHER:
        raise InputError(
            field=label,
            given=f"one answer, and another setting too ({', '.join(filled)}),",
            allowed="only one of them can be so",
            nearest=f"“{other}”, where that setting is so",
        )
    return since


def _filled_in(form: Form, now: FittingNow) -> list[str]:
    """What was told of another setting than the one that is there."""
    present = now.fitting.present
    had = {"seat": present.seat_mm} | {f"tape-{hole}": present.tape_mm.get(hole, 0.0) for hole in HOLES}
    labels = {"seat": "seat"} | {f"tape-{hole}": f"tape on the {hole} hole" for hole in HOLES}
    told = {name: form.number(name, labels[name]) for name in had}
    filled = [
        f"{labels[name]} {value:g} mm" for name, value in told.items() if value not in (None, had[name])
    ]
    return [*filled, "a pinch"] if form.ticked("pinched") else filled


def _tape_told(form: Form, now: FittingNow) -> dict[str, float]:
    """What was filled in, hole by hole; a strip that was there is never taken off by an empty field."""
    told = {}
    for hole in HOLES:
        label = f"tape on the {hole} hole"
        covered_mm = form.number(f"tape-{hole}", label)
        had_mm = now.fitting.present.tape_mm.get(hole)
        if covered_mm is not None:
            told[hole] = covered_mm
        elif had_mm is not None and f"tape-{hole}" in form.texts:
            raise InputError(
                field=label,
                given="nothing",
                allowed=f"a strip of {had_mm:g} mm is there: 0 says that it is off",
                nearest=f"{had_mm:g}, where it is still on",
            )
    return told
