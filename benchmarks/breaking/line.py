"""One line of the table: what was done how often, and what must not have come of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """`bad` is what must be 0: lost acts, tracebacks, damage untold; `seen` is what else was counted."""

    kind: str
    count: int
    bad: Mapping[str, int]
    seen: Mapping[str, int | str] = field(default_factory=dict)
    #: The first of what must not be, one by one.
    worst: tuple[str, ...] = ()

    @property
    def failed(self) -> bool:
        """Whether anything came of it that must not."""
        return any(self.bad.values())

    def __str__(self) -> str:
        """As it stands in the table."""
        told = ", ".join(f"{number} {name}" for name, number in {**self.bad, **self.seen}.items())
        more = "".join(f"\n{'':28}{one}" for one in self.worst[:10])
        return f"{self.kind:<20}{self.count:>7} {told}{more}"
