"""The digest of an act: over who, when and what, every change it made, and the digest of the act before.

What an act was told is held by it; what a row holds now is held by the newest change of it. So nothing is
written twice, and writing an act costs one SHA-256 of what is written anyway. Whoever can write the ledger
can write a digest too: it tells bits that turned, not somebody's hand. Guarded by
`tests/faults/test_row_damage.py`.
"""

from __future__ import annotations

from hashlib import sha256
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.store.tables import Row, Value

#: What an act's own row brings into its digest. Its undoing comes later, and is told by the act that did it.
_TOLD = ("id", "at", "who", "kind", "said", "undoes")
_NOTED = ("place", "in_table", "row_id", "before", "after")


class ActDigest:
    """The digest of one act while its changes are told, in their order."""

    __slots__ = ("_sum",)

    def __init__(self) -> None:
        self._sum = sha256()

    def add(self, change: Mapping[str, Value]) -> None:
        """One more row of `changes`."""
        self._sum.update(_line([change[name] for name in _NOTED]))

    def of(self, act: Row, before: str | None) -> str:
        """SHA-256 in hexadecimal of the act whose row this is; `before` is that of the act before it."""
        whole = self._sum.copy()
        whole.update(_line([*(act[name] for name in _TOLD), before]))
        return whole.hexdigest()


def _line(values: list[Value]) -> bytes:
    """No text of a ledger holds a zero, and no change an empty text: each line is of one list alone."""
    # Text that no file could hold comes out of damaged rows alone.
    text = "\0".join(["" if one is None else str(one) for one in values])
    return text.encode(errors="surrogatepass") + b"\n"
