"""A take from a form: a file, a finished recording of the microphone, or readings typed from any meter.

Guarded by `tests/web/test_fitting.py`.
"""

from __future__ import annotations

import shutil
import tempfile
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Final

from canebench.base.errors import DoubtError, InputError
from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.bench.acts.fitting.fit_reed import Place, fit_reed
from canebench.bench.acts.fitting.plan_take import ALL, PlanMade
from canebench.bench.acts.fitting.type_take import AsTyped, NoPitchError, Typed
from canebench.bench.acts.reeds.reed_days import check_pinch, ease_reed
from canebench.fitting.acts import Act

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from canebench.bench.acts.fitting.fit_reed import Fitted, Wish
    from canebench.bench.views.fitting_now import FittingNow
    from canebench.store.ledger import Ledger
    from canebench.web.context import BenchContext
    from canebench.web.forms.forms import Form

#: What was done since the last take, and how many acts of the plan that is.
SINCE: Final = {"act": 1, "nothing": 0, "all": ALL, "other": 0}

#: The button that takes readings which were asked about; and all that come with readings.
AS_TYPED: Final = "as-typed"
TYPED: Final = ("typed", AS_TYPED)


def measure_new_take(context: BenchContext, ledger: Ledger, form: Form, now: FittingNow) -> Fitted:
    """Measure and keep the take of a form."""
    done = done_from(form, now)
    place = Place(
        reed=now.reed.number,
        chanter=now.chanter.name,
        player=None if now.player is None else now.player.name,
    )
    wish = _with_conditions(form, now.wish)
    pinched, insist = _pinched(form, now), form.ticked("insist")
    if pinched:
        check_pinch(ledger, place.reed, insist=insist)
    keep = partial(
        fit_reed,
        ledger,
        place=place,
        who=context.who,
        done=done,
        wish=wish,
        takes_folder=context.takes,
        insist=form.ticked("rests_told"),
    )
    # Enter in a reading sends the form as its first button would: that of the file.
    typed = form.text("how") == "file" and "file" not in form.files and _any_typed(form)
    if typed or form.text("how") in TYPED:
        with _own_words():
            fitted = keep(typed_from(form))
    elif (form.text("how") or "").startswith("recording"):
        _, _, named = (form.text("how") or "").partition(":")
        path = context.recordings.finished(named or form.needed("recording", "recording"))
        fitted = keep(path)
        if fitted.take_id is not None:
            context.recordings.kept(path)
    else:
        fitted = _from_file(form, keep)
    if fitted.take_id is not None and pinched:
        ease_reed(ledger, place.reed, how="pinch", who=context.who, insist=insist, heard_in=fitted.take_id)
    return fitted


@contextmanager
def _own_words() -> Iterator[None]:
    """What a person can do about typed readings, in the words of this page."""
    try:
        yield
    except DoubtError as doubt:
        nearest = "the reading put right below, or “Take them as typed” where it is right"
        raise DoubtError(
            field=doubt.field, given=doubt.given, allowed=doubt.allowed, nearest=nearest
        ) from doubt
    except NoPitchError as error:
        nearest = "that low A in Hz as the Pitch under What this fitting aims at, or readings in Hz"
        raise NoPitchError(nearest=nearest) from error


def _any_typed(form: Form) -> bool:
    return any(form.text(f"typed-{note}") for note in NOTES)


def _from_file(form: Form, keep: Callable[[Path], Fitted]) -> Fitted:
    upload = form.files.get("file")
    if upload is None:
        raise InputError(field="file", given="none", allowed="a sound file of the take is needed")
    name = PurePath((upload.filename or "take").replace("\\", "/")).name[-80:] or "take"
    with tempfile.TemporaryDirectory(prefix="canebench-") as folder:
        # The name of the file is part of the take's story, but it never becomes a path.
        path = Path(folder) / ("".join(c if c.isalnum() or c in " ._-" else "_" for c in name))
        with path.open("wb") as file:
            shutil.copyfileobj(upload.file, file)
        return keep(path)


def done_from(form: Form, now: FittingNow) -> PlanMade:
    """What was done since the last take."""
    since = form.text("since") or ("act" if now.takes else "nothing")
    if since not in SINCE:
        raise InputError(
            field="done since the last take", given=repr(since), allowed=f"one of {', '.join(SINCE)}"
        )
    pinches = now.fitting.present.pinches + (1 if _pinched(form, now) else 0)
    if since != "other":
        return PlanMade(acts=SINCE[since], pinches=pinches if now.takes else None)
    return PlanMade(
        acts=0,
        seat_mm=form.number("seat", "seat"),
        tape_mm=_tape_told(form, now) or None,
        pinches=pinches,
    )


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


def _pinched(form: Form, now: FittingNow) -> bool:
    """Whether what was done since the last take included a pinch."""
    since = form.text("since")
    if since == "other":
        return form.ticked("pinched")
    steps = now.plan.steps if now.plan is not None else ()
    counted = steps if since == "all" else steps[:1] if since == "act" else ()
    return any(step.act.act is Act.PINCH for step in counted)


def typed_from(form: Form) -> dict[str, Typed]:
    """Readings of the notes that were filled in."""
    unit = form.text("unit") or "Hz"
    found = {}
    for note in NOTES:
        value = form.number(f"typed-{note}", note)
        if value is not None:
            found[note] = Typed(value=value, unit=unit)
    if not found:
        raise InputError(field="typed readings", given="none", allowed="low A and high A at least are needed")
    return AsTyped(found) if form.text("how") == AS_TYPED else found


def _with_conditions(form: Form, wish: Wish) -> Wish:
    return replace(
        wish,
        room_degc=form.number("room_degc", "temperature"),
        room_rh=form.number("room_rh", "humidity"),
        warm_min=form.number("warm_min", "minutes warm"),
    )
