"""Chanters in the ledger: by name, with their sizes if they are known.

Guarded by `tests/doors/test_fit_command.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.bench.acts.ledger import number_of
from canebench.bore.chanter_file import read

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.store.ledger import Ledger
    from canebench.store.tables import Row, Value


def keep_chanter(ledger: Ledger, name: str, *, who: str, sizes: Path | None) -> Row:
    """A chanter of that name, new if it is not there; with the sizes of a file, if one is given."""
    told: dict[str, Value] = {} if sizes is None else {"chanter_toml": read(sizes).text}
    with ledger.act("chanter", who=who, said=f"chanter {name}") as act:
        known = act.find("chanters", "name", name)
        if known is None:
            return act.row("chanters", act.insert("chanters", {"name": name, **told}))
        if told:
            return act.update("chanters", number_of(known, "id"), told, read=known)
        return known
