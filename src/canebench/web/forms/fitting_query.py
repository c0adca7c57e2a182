"""What a fitting aims at, as it stands in the address: scale, reference, how far seat and pinches may go.

Guarded by `tests/web/test_fitting.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from canebench.base.parsing import count_from, number_from
from canebench.base.scales import scale_named
from canebench.bench.acts.fitting.fit_reed import Wish
from canebench.fitting.limits import Limits

if TYPE_CHECKING:
    from collections.abc import Mapping

#: What the address may say, each as typed.
FIELDS: Final = ("scale", "reference", "deeper", "higher", "pinches_left")


@dataclass(frozen=True, slots=True, kw_only=True)
class FittingQuery:
    """`wish` is None where the address says nothing: the fitting then goes on as before."""

    wish: Wish | None
    query: dict[str, str]
    scale: str = "harmonic"
    reference: str = "drones"
    deeper: str = "2"
    higher: str = "2"
    pinches_left: str = "0"

    def showing(self, wish: Wish) -> FittingQuery:
        """What the form shows: as asked for, else as the ledger told it."""
        if self.wish is not None:
            return self
        reference = "drones" if wish.reference_hz is None else f"{wish.reference_hz:g}"
        return replace(self, scale=wish.scale.name, reference=reference)


def fitting_query_from(given: Mapping[str, str]) -> FittingQuery:
    """Read it; what will not do is an `InputError`."""
    query = {name: given[name] for name in FIELDS if given.get(name)}
    if not query:
        return FittingQuery(wish=None, query={})
    shown = {**{name: getattr(FittingQuery(wish=None, query={}), name) for name in FIELDS}, **query}
    wish = Wish(
        scale=scale_named(shown["scale"]),
        reference_hz=_reference(shown["reference"]),
        limits=Limits(
            deeper_mm=number_from(shown["deeper"], "deeper at most"),
            higher_mm=number_from(shown["higher"], "higher at most"),
            pinches_left=count_from(shown["pinches_left"], "pinches left"),
        ),
    )
    return FittingQuery(wish=wish, query=query, **shown)


def _reference(given: str) -> float | None:
    if given.strip().lower() in ("drones", "low a", "low-a"):
        return None
    return number_from(given.lower().strip().removesuffix("hz"), "reference", or_else="drones")
