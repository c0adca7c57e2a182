"""Rows in from files: looked over first, then written in one act, all of them or none.

Guarded by `tests/store/test_import.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.errors import InputError
from canebench.store.exchange.findings import ImportChoices, Imported, ImportRefusedError, TableFound, refused
from canebench.store.exchange.going_over import GoingOver, Progress

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.store.exchange.sheet import Sheet
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader

__all__ = ["ImportChoices", "ImportRefusedError", "Imported", "TableFound", "check_import", "commit_import"]


def check_import(
    reader: Reader, sheets: Mapping[str, Sheet], choices: ImportChoices, *, progress: Progress | None = None
) -> dict[str, TableFound]:
    """What would come in, row by row, without writing any: by table, in the ledger's order.

    An exception from `progress`, which is told the rows done and all of them (None if not known), ends it.
    """
    return GoingOver(reader, sheets, choices, progress=progress).run()


def commit_import(
    ledger: Ledger,
    sheets: Mapping[str, Sheet],
    choices: ImportChoices,
    *,
    who: str,
    said: str,
    progress: Progress | None = None,
) -> Imported:
    """Write every row in one act.

    A problem of any row, or an exception from `progress`, leaves the ledger as it was.

    Raises
    ------
    ImportRefusedError
        A row does not fit, or is a duplicate where these are refused.
    """
    if not sheets:
        raise InputError(field="import", given="no table", allowed="one at least is needed")
    with ledger.act("import", who=who, said=said) as writer:
        found = GoingOver(writer, sheets, choices, progress=progress, writer=writer).run()
        if refused(found, choices):
            raise ImportRefusedError(found)
        written = any(one.fitting for one in found.values())
        return Imported(act_id=writer.act_id if written else None, found=found)
