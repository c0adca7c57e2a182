"""Lots that a plain list of reeds names and the ledger does not know: they come in with it, counted from it.

Guarded by `tests/store/test_plain_list.py`.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Final

from canebench.base.parsing import folded
from canebench.store.exchange.cells import CellError, is_blank, value_of
from canebench.store.exchange.headers import match_headers
from canebench.store.exchange.sheet import Sheet
from canebench.store.records import LotRecord
from canebench.store.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from canebench.store.exchange.findings import ImportChoices
    from canebench.store.exchange.sheet import Numbered
    from canebench.store.reader import Reader

_REEDS: Final = "reeds"
_LOTS: Final = "lots"


def with_new_lots(reader: Reader, sheets: Mapping[str, Sheet], choices: ImportChoices) -> dict[str, Sheet]:
    """The sheets, and one of lots where a list of reeds alone names some by names that are new.

    A name that is a known lot's but for capitals, spaces or leading zeros is no new one, and stays amiss.
    """
    if _REEDS not in sheets or _LOTS in sheets or choices.ids == "kept":
        return dict(sheets)
    known = {folded(name) for name in reader.texts(LotRecord, "name")}
    counted = _named(sheets[_REEDS], choices)
    new = [(name, count) for name, count in counted.items() if folded(name) not in known]
    if not new:
        return dict(sheets)

    def rows() -> Iterator[Numbered]:
        yield from enumerate(new, start=2)

    lots = Sheet(name=_LOTS, headers=("name", "count"), rows=rows, style="typed", total=len(new))
    return {_LOTS: lots, **sheets}


def _named(sheet: Sheet, choices: ImportChoices) -> Counter[str]:
    """How many rows name each lot, as the first of them spells it."""
    table = TABLES[_REEDS]
    matched = match_headers(table, sheet.headers, choices.mapping.get(_REEDS, {}))
    lot = next(
        (
            one
            for one in matched
            if one.by_name is not None
            and one.by_name.name == "name"
            and one.column is not None
            and one.column.refers == _LOTS
        ),
        None,
    )
    found: Counter[str] = Counter()
    for _, cells in sheet.rows() if lot is not None else ():
        cell = cells[lot.index] if lot is not None and lot.index < len(cells) else None
        if lot is None or is_blank(cell):
            continue
        try:
            found[str(value_of(table, sheet, lot, cell))] += 1
        except CellError:
            # What is amiss with it is told where the row is read.
            continue
    return found
