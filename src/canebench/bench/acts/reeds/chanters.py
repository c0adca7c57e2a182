"""Chanters in the ledger: by name, with their sizes if they are known.

Guarded by `tests/doors/test_fit_command.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.bench.acts.ledger import check_new
from canebench.bore.chanter_file import read
from canebench.store.records import ChanterRecord

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.store.ledger import Ledger
    from canebench.store.tables import Value


def keep_chanter(ledger: Ledger, name: str, *, who: str, sizes: Path | None) -> ChanterRecord:
    """A chanter of that name, new if it is not there; with the sizes of a file, if one is given."""
    told: dict[str, Value] = {} if sizes is None else {"chanter_toml": read(sizes).text}
    with ledger.act("chanter", who=who, said=f"chanter {name}") as act:
        known = act.find(ChanterRecord, "name", name)
        if known is None:
            check_new(act, ChanterRecord, name, field="chanter")
            return act.row(ChanterRecord, act.insert("chanters", {"name": name, **told}))
        return act.update(known, told) if told else known


def list_chanters(ledger: Ledger) -> list[ChanterRecord]:
    """Chanters by name, at most 500."""
    with ledger.reading() as reader:
        return reader.rows(ChanterRecord, order="name", limit=500)
