"""What was typed into the rows of a grading sheet: each reed's fields end with its row's number.

Guarded by `tests/web/test_lots.py`.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import msgspec

from canebench.base.errors import InputError
from canebench.bench.acts.reeds.grading.grade_rows import TypedRow
from canebench.bench.acts.reeds.grading.graded_rows import RowContent, RowRead

if TYPE_CHECKING:
    from canebench.web.forms.forms import Form

#: Fields of a row at most, each mark being one.
FIELDS: Final = 16
_READ: Final = re.compile(r"read-(\d{1,15})", re.ASCII)


def typed_rows(form: Form) -> list[TypedRow]:
    """The rows that came, in their order; a row is known by what was read of it."""
    found = (_READ.fullmatch(name) for name in form.texts)
    return [_row(form, int(match[1])) for match in found if match is not None]


def _row(form: Form, reed_id: int) -> TypedRow:
    def text(name: str) -> str:
        return form.texts.get(f"{name}-{reed_id}", "")

    content = RowContent(
        gauge=text("gauge"),
        mouth=text("mouth"),
        than=text("than"),
        marks=form.lists.get(f"marks-{reed_id}", ()),
        remarks=text("remarks"),
    )
    return TypedRow(
        reed_id=reed_id,
        content=content,
        read=_read(text("read")),
        aside=form.ticked(f"aside-{reed_id}"),
        insist=form.ticked(f"insist-{reed_id}"),
        asked=form.ticked(f"asked-{reed_id}"),
        over=form.ticked(f"over-{reed_id}"),
    )


def read_text(read: RowRead) -> str:
    """What was read of a row, for its hidden field."""
    return msgspec.json.encode(read).decode()


def _read(given: str) -> RowRead:
    try:
        return msgspec.json.decode(given, type=RowRead)
    except msgspec.DecodeError as error:
        allowed = "the sheet sends what it showed of the row: load it anew"
        raise InputError(field="row", given=repr(given[:60]), allowed=allowed) from error
