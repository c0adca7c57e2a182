"""Measurements made by hand, for doors that must not wait for a microphone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE, Scale
from canebench.base.units import cents_to_hz, hz_step_to_cents
from canebench.sound.analysis.readings import DroneReading, Measurement, NoteReading, Reference, ReferenceKind

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.base.finding import Finding

#: Low G to high A, cents: top hand flat, D standing off the beam.
TOP_FLAT = dict(zip(NOTES, (9.0, 6.5, 4.0, 1.2, 7.5, -3.2, -5.6, -7.6, -11.5), strict=True))


def made_measurement(
    deviations: Mapping[str, float],
    *,
    kind: ReferenceKind = "drones",
    reference_hz: float = 478.2,
    sd_hz: float = 0.2,
    spread_cents: float = 0.0,
    scale: Scale = DEFAULT_SCALE,
    origin: str = "made by hand",
    findings: tuple[Finding, ...] = (),
) -> Measurement:
    """A measurement with these deviations in cents; notes that are not given were not played."""
    refused = any(finding.refuses for finding in findings)
    notes = tuple(
        _reading(note, deviations[note], reference_hz * scale.ratios[note], sd_hz, spread_cents)
        for note in NOTES
        if note in deviations
    )
    drones = (
        DroneReading(drone="bass", hz=reference_hz / 4, sd_hz=0.01, spread_cents=0.3, spans_s=((0.0, 20.0),)),
        DroneReading(
            drone="tenor",
            hz=reference_hz / 2,
            sd_hz=0.01,
            spread_cents=0.3,
            spans_s=((0.0, 20.0),),
            separable=False,
        ),
    )
    return Measurement(
        origin=origin,
        duration_s=20.0,
        scale=scale,
        reference=None if refused else Reference(kind=kind, hz=reference_hz, sd_hz=0.05),
        low_a_hz=None if refused else reference_hz,
        notes=() if refused else notes,
        drones=drones if kind == "drones" else (),
        findings=findings,
    )


def _reading(note: str, cents: float, target_hz: float, sd_hz: float, spread_cents: float) -> NoteReading:
    hz = cents_to_hz(cents, target_hz)
    return NoteReading(
        note=note,
        hz=hz,
        sd_hz=sd_hz,
        cents=cents,
        sd_cents=hz_step_to_cents(sd_hz, hz),
        drift_cents_per_s=0.2,
        spread_cents=spread_cents,
        spans_s=((1.0, 3.0), (7.0, 9.0)),
        level_db=-14.0,
    )
