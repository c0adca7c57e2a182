"""The conditions of `benchmarks/real`: what is played, what is done to it, and what is asked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from real_takes.takes import Layout, Tuning


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """How a take is made from its notes.

    `asked_cents` are median, 95th percentile and worst; None where figures are shown without any asked.
    `true_remarks` are codes of findings that are right here; any other counts as false.
    """

    title: str
    asked_cents: tuple[float, float, float] | None
    most_lost: float = 0.0
    layout: Layout = "scale"
    tuning: Tuning = "apart"
    drones_db: float | None = 0.0
    spoilt_by: str | None = None
    true_remarks: frozenset[str] = frozenset()


CONDITIONS: Final[dict[str, Condition]] = {
    "alone": Condition(title="alone", asked_cents=(0.03, 0.2, 0.5), drones_db=None),
    "drones": Condition(title="drones as loud", asked_cents=(0.05, 0.5, 1.5)),
    "loud-drones": Condition(title="drones +6 dB", asked_cents=(0.08, 0.8, 2.0), drones_db=6.0),
    "in-tune": Condition(title="drones, in tune", asked_cents=(0.08, 0.8, 2.0), tuning="in-tune"),
}
