"""A take from a form: a file, a finished recording of the microphone, or readings typed from any meter.

Guarded by `tests/web/test_fitting.py`.
"""

from __future__ import annotations

import shutil
import tempfile
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Final

from canebench.base.disk.inside import inside
from canebench.base.errors import InputError
from canebench.base.notes import NOTES
from canebench.bench.acts.fitting.fit_reed import Pinch, Place, fit_reed
from canebench.bench.acts.fitting.read_takes import check_newest
from canebench.bench.acts.fitting.type_take import AsTyped, Typed, answered_by
from canebench.web.forms.told_setting import told_from, was_pinched

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from canebench.bench.acts.fitting.fit_request import FitRequest
    from canebench.bench.acts.fitting.one_round import Fitted
    from canebench.bench.acts.ledger import Ledger
    from canebench.bench.views.fitting_now import FittingNow
    from canebench.web.context import BenchContext
    from canebench.web.forms.forms import Form

#: The button that takes readings which were asked about; and all that come with readings.
AS_TYPED: Final = "as-typed"
TYPED: Final = ("typed", AS_TYPED)


def measure_new_take(
    context: BenchContext, ledger: Ledger, form: Form, now: FittingNow, asked: FitRequest
) -> Fitted:
    """Measure and keep the take of a form."""
    read_take = form.count("read_take", "the newest take read")
    if read_take is not None:
        with ledger.reading() as reader:
            check_newest(reader, now.reed, now.chanter, read_take)
    asked = told_from(form, now, asked)
    pinch: Pinch | None = None
    if was_pinched(form, now):
        pinch = "insisted" if form.ticked("insist") else "told"
    place = Place(
        reed=now.reed.number,
        chanter=now.chanter.name,
        player=None if now.player is None else now.player.name,
        read_take=read_take,
        pinch=pinch,
    )

    def fit(heard: Path | Mapping[str, Typed]) -> Fitted:
        return fit_reed(
            ledger,
            replace(asked, heard=heard),
            place=place,
            who=context.who,
            takes_folder=context.takes,
            insist=form.ticked("against_told"),
        )

    # Enter in a reading sends the form as its first button would: that of the file.
    typed = form.text("how") == "file" and "file" not in form.files and _any_typed(form)
    if typed or form.text("how") in TYPED:
        with answered_by(
            doubt="the reading put right below, or “Take them as typed” where it is right",
            no_pitch="that low A in Hz as the Pitch under Aim, or readings in Hz",
        ):
            fitted = fit(typed_from(form))
    elif (form.text("how") or "").startswith("recording"):
        _, _, named = (form.text("how") or "").partition(":")
        path = context.recordings.finished(named or form.needed("recording", "recording"))
        fitted = fit(path)
        if fitted.take_id is not None:
            context.recordings.kept(path)
    else:
        with _uploaded(form) as path:
            fitted = fit(path)
    return fitted


def _any_typed(form: Form) -> bool:
    return any(form.text(f"typed-{note}") for note in NOTES)


@contextmanager
def _uploaded(form: Form) -> Iterator[Path]:
    """The file of the form, while it is measured."""
    upload = form.files.get("file")
    if upload is None:
        raise InputError(field="file", given="none", allowed="a sound file of the take is needed")
    name = PurePath((upload.filename or "take").replace("\\", "/")).name[-80:].lstrip(".") or "take"
    with tempfile.TemporaryDirectory(prefix="canebench-") as folder:
        # The name of the file is part of the take's story, but it never becomes a path.
        path = inside(Path(folder), "".join(c if c.isalnum() or c in " ._-" else "_" for c in name))
        with path.open("wb") as file:
            shutil.copyfileobj(upload.file, file)
        yield path


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
