"""Rows of many reeds, each reed's together. Guarded by `tests/doors/test_choose_command.py`."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from canebench.store.records import (
    EaseRecord,
    PlayRecord,
    SettingRecord,
    StrengthRecord,
    TakeRecord,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from canebench.store.reader import Reader

OfReed = TypeVar("OfReed", EaseRecord, PlayRecord, SettingRecord, StrengthRecord, TakeRecord)


def rows_by_reed(reader: Reader, kind: type[OfReed], reed_ids: Iterable[int]) -> dict[int, list[OfReed]]:
    """By the reed's row, oldest first; one without any has an empty list."""
    found: dict[int, list[OfReed]] = {reed_id: [] for reed_id in reed_ids}
    for row in reader.of_many(kind, "reed_id", list(found), order="at"):
        if row.reed_id is not None:
            found[row.reed_id].append(row)
    return found
