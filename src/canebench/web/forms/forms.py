"""What a person filled in: text as typed, shown again with the sentence where it will not do.

Guarded by `tests/web/test_forms.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from starlette.datastructures import UploadFile

from canebench.base.errors import InputError
from canebench.base.parsing import count_from, number_from

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

    from canebench.bench.acts.ledger import StaleEditError

_MOST_FIELDS: Final = 200
_MOST_TEXT: Final = 2_000
#: Fields that hold whole files.
_LONG: Final = {"sizes": 60_000}


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldProblem:
    """Why the form `form` could not be taken, with what was typed into it.

    `stale` where what was read is not what stands any more. `asks` where it may be right all the same, and is
    taken once that was said; `insist` where it is taken once one says that one insists.
    """

    form: str
    said: str
    asks: bool = False
    given: Mapping[str, str] = field(default_factory=dict)
    insist: bool = False
    stale: StaleEditError | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """A form as it came: texts, stripped, and files; `refused` where one of them is too long, and cut."""

    texts: Mapping[str, str]
    files: Mapping[str, UploadFile]
    lists: Mapping[str, tuple[str, ...]]
    refused: InputError | None = None

    def text(self, name: str) -> str | None:
        """A text, None where it was left empty."""
        return self.texts.get(name) or None

    def needed(self, name: str, label: str) -> str:
        """A text that must be there."""
        found = self.text(name)
        if found is None:
            raise InputError(field=label, given="nothing", allowed="it is needed here")
        return found

    def number(self, name: str, label: str) -> float | None:
        """A number with a decimal point or comma; None where it was left empty."""
        given = self.text(name)
        return None if given is None else number_from(given, label)

    def count(self, name: str, label: str) -> int | None:
        """A whole number; None where it was left empty."""
        given = self.text(name)
        return None if given is None else count_from(given, label)

    def version(self) -> int | None:
        """Which version of a row was read: that of the page, or the newer one that one says one has seen."""
        seen = self.count("over", "version seen")
        return self.count("version", "version") if seen is None else seen

    def ticked(self, name: str) -> bool:
        """Whether a box was ticked."""
        return name in self.texts


async def read_form(request: Request, *, most_fields: int = _MOST_FIELDS) -> Form:
    """Read a form, plain or with files, of so many fields at most."""
    texts: dict[str, str] = {}
    files: dict[str, UploadFile] = {}
    lists: dict[str, tuple[str, ...]] = {}
    refused: InputError | None = None
    given = await request.form(max_files=4, max_fields=most_fields, max_part_size=64 * 1024)
    for name, value in given.multi_items():
        if isinstance(value, UploadFile):
            if value.filename:
                files[name] = value
        else:
            most = _LONG.get(name, _MOST_TEXT)
            if len(value) > most:
                refused = InputError(
                    field=name, given=f"{len(value)} characters", allowed=f"at most {most} fit here"
                )
            texts[name] = value[:most].strip()
            lists[name] = (*lists.get(name, ()), texts[name])
    return Form(texts=texts, files=files, lists=lists, refused=refused)
