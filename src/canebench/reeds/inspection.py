"""What is seen of a reed before it is blown, and how that is written: marks first, then the rest.

Common practice, no source. Guarded by `tests/practice/test_inspection.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.base.errors import UnknownNameError

if TYPE_CHECKING:
    from collections.abc import Collection

#: In the order in which a reed is looked over, tips first: each may be reason enough to set it aside.
MARKS: Final = ("chip", "split", "gap", "uneven blades", "loose binding", "mould")
_AFTER: Final = "; "


def marks_in(remarks: str | None) -> tuple[tuple[str, ...], str]:
    """The marks that a remark begins with, and the rest of it.

    Parameters
    ----------
    remarks : str or None
        Such as "chip, gap; pale cane", "chip" or "pale cane".

    Returns
    -------
    tuple of str, str
        Marks in the order of `MARKS`, none where the remark begins otherwise; the rest, "" for nothing.
    """
    text = (remarks or "").strip()
    head, _, rest = text.partition(_AFTER.strip())
    found = [part.strip() for part in head.split(",")]
    if not all(part in MARKS for part in found):
        return (), text
    return tuple(mark for mark in MARKS if mark in found), rest.strip()


def with_marks(marks: Collection[str], rest: str) -> str | None:
    """What to write of a reed with these marks, and this remarked of it; None for neither.

    Parameters
    ----------
    marks : collection of str
        Of `MARKS`, in any order.
    rest : str
        What else is remarked.

    Returns
    -------
    str or None
        "chip, gap; pale cane": marks in the order of `MARKS`, then the rest.

    Raises
    ------
    UnknownNameError
        A mark that there is none of.
    """
    for mark in marks:
        if mark not in MARKS:
            raise UnknownNameError(field="mark", given=mark, known=MARKS)
    told = ", ".join(mark for mark in MARKS if mark in marks)
    return _AFTER.join(part for part in (told, rest.strip()) if part) or None
