"""Names that are one to whoever says them: capitals, spaces and leading zeros make no other player or reed.

Guarded by `tests/invariants/test_near_names.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from canebench.base.errors import InputError
from canebench.base.parsing import folded

if TYPE_CHECKING:
    from collections.abc import Iterable


class NearNameError(InputError):
    """A name that is another's but for capitals, spaces or leading zeros: `meant` is that other.

    `offered` where that other may be what was wanted: it can be gone on with.
    """

    code: ClassVar[str] = "near-name"

    def __init__(self, *, field: str, given: str, meant: str, offered: bool) -> None:
        self.typed, self.meant, self.offered = given, meant, offered
        super().__init__(
            field=field,
            given=repr(given),
            allowed=f"there is {meant!r}, and capitals, spaces or leading zeros alone make no other",
        )

    def __str__(self) -> str:
        """The sentence, and the question."""
        return super().__str__() + (f" Did you mean {self.meant}?" if self.offered else "")


def near_name(name: str, known: Iterable[str]) -> str | None:
    """Which known name it is but for capitals, spaces and leading zeros; None for itself, or for none."""
    wanted = folded(name)
    found = [one for one in known if folded(one) == wanted]
    return None if name in found or not found else found[0]
