"""Take back an act.

Guarded by `tests/doors/test_ledger_commands.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.errors import NotFoundError

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord


def undo_act(ledger: Ledger, act_id: int | None, *, who: str) -> tuple[ActRecord, int]:
    """Undo an act, or the last one that still stands: that act, and the number of the undoing."""
    with ledger.reading() as reader:
        found = reader.last_act() if act_id is None else reader.act(act_id)
    if found is None:
        raise NotFoundError("Nothing was done in this ledger that could be undone.")
    return found, ledger.undo(found.id, who=who)
