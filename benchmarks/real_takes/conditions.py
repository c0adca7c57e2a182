"""The conditions of `benchmarks/real`: what is played, what is done to it, and what is asked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from real_takes.takes import Tuning


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """How a take is made from its notes.

    `asked_cents` are median, 95th percentile and worst; None where figures are shown without any asked.
    `true_remarks` are codes of findings that are right here; any other counts as false.
    """

    title: str
    asked_cents: tuple[float, float, float] | None
    most_lost: float = 0.0
    layout: str = "scale"
    tuning: Tuning = "apart"
    drones_db: float | None = 0.0
    spoilt_by: str | None = None
    true_remarks: frozenset[str] = frozenset()


CONDITIONS: Final[dict[str, Condition]] = {
    "alone": Condition(title="alone", asked_cents=(0.03, 0.2, 0.5), drones_db=None),
    "drones": Condition(title="drones as loud", asked_cents=(0.05, 0.5, 1.5)),
    "loud-drones": Condition(title="drones +6 dB", asked_cents=(0.08, 0.8, 2.0), drones_db=6.0),
    "in-tune": Condition(title="drones, in tune", asked_cents=(0.08, 0.8, 2.0), tuning="in-tune"),
    "mp3": Condition(title="MP3 64 kbit/s", asked_cents=(0.08, 0.8, 2.0), spoilt_by="mp3"),
    "opus": Condition(title="Opus 32 kbit/s", asked_cents=(0.08, 0.8, 2.0), spoilt_by="opus"),
    "aac": Condition(title="AAC 96 kbit/s", asked_cents=(0.08, 0.8, 2.0), spoilt_by="aac"),
    "phone": Condition(
        title="phone: gain, band, suppression",
        asked_cents=(0.2, 2.0, 5.0),
        most_lost=0.01,
        spoilt_by="phone",
        true_remarks=frozenset({"band-limited", "gain-changes", "non-linear"}),
    ),
    "hall": Condition(title="hall, RT60 2 s", asked_cents=(0.2, 2.0, 5.0), most_lost=0.01, spoilt_by="hall"),
    "march-alone": Condition(
        title="march 60 s, alone", asked_cents=(0.2, 1.5, 4.0), layout="march", drones_db=None
    ),
    "march": Condition(title="march 60 s, drones", asked_cents=(0.3, 2.0, 4.0), layout="march"),
    "air": Condition(title="slow air 90 s, drones", asked_cents=(0.15, 1.0, 3.0), layout="air"),
    "wind": Condition(title="outdoors, wind", asked_cents=None, spoilt_by="wind"),
    "second": Condition(title="second piper 15 dB down", asked_cents=None, spoilt_by="second"),
    "talk": Condition(title="talk between notes", asked_cents=None, layout="rests", spoilt_by="talk"),
    "tuning": Condition(
        title="drones tuned at the start", asked_cents=None, layout="later", tuning="gliding"
    ),
    "squeals": Condition(title="squeals and chokes", asked_cents=None, spoilt_by="squeals"),
    "striking-in": Condition(
        title="begins before the pipes",
        asked_cents=None,
        layout="late",
        tuning="striking",
        spoilt_by="striking-in",
    ),
    "short": Condition(title="notes of 0.7 to 1.5 s", asked_cents=None, layout="short"),
}
