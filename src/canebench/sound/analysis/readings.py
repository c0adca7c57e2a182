"""What one take says: notes, drones, scale, reference and findings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from canebench.base.finding import Finding
    from canebench.base.scales import Scale

DroneName = Literal["bass", "tenor"]
ReferenceKind = Literal["drones", "low-a", "fixed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteReading:
    """One note of the take, pooled over all its steady parts.

    Attributes
    ----------
    note : str
        One of `canebench.base.notes.NOTES`.
    hz, sd_hz : number > 0
        Mean frequency over `spans_s` and its standard uncertainty. The uncertainty is of that mean: it
        contains what drift, wander, room, drones and noise do to it.
    cents, sd_cents : number
        Deviation from the target scale on the reference as stated, and `sd_hz` in cents. The reference's
        own uncertainty is common to all notes and stands with the reference.
    drift_cents_per_s : number
        Slope of the pitch within the steady parts (length-weighted mean).
    spread_cents : number >= 0
        Standard deviation of the pitch about its mean within the steady parts: blowing steadiness.
    spans_s : tuple of (start, end)
        The very parts of the recording that were averaged, in seconds.
    level_db : number
        Level of the note, dB re full scale.
    """

    note: str
    hz: float
    sd_hz: float
    cents: float
    sd_cents: float
    drift_cents_per_s: float
    spread_cents: float
    spans_s: tuple[tuple[float, float], ...]
    level_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DroneReading:
    """One drone: mean frequency over the time it sounds, Hz, and its standard uncertainty.

    `separable` is False for a tenor that could not be told apart from another at nearly the same pitch.
    """

    drone: DroneName
    hz: float
    sd_hz: float
    spread_cents: float
    spans_s: tuple[tuple[float, float], ...]
    separable: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """The low A pitch in Hz that cents are counted from, how it was chosen and its uncertainty."""

    kind: ReferenceKind
    hz: float
    sd_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """All that one take says. `notes` are in scale order; a note not in the take is absent.

    `reference` and `low_a_hz` are None only where nothing could fix them (a refused take).
    `low_a_hz` is the chanter's own low A where it was played, else the best fit of the other notes.
    """

    origin: str
    duration_s: float
    scale: Scale
    reference: Reference | None
    low_a_hz: float | None
    notes: tuple[NoteReading, ...]
    drones: tuple[DroneReading, ...]
    findings: tuple[Finding, ...]

    @property
    def refused(self) -> bool:
        """Whether no notes are reported, for a reason given in `findings`."""
        return any(finding.refuses for finding in self.findings)
