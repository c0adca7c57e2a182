"""The room's front function: a recording in, every note and drone of it out."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from canebench.base.errors import InputError
from canebench.base.finding import Finding
from canebench.base.notes import LOW_A
from canebench.base.scales import DEFAULT_SCALE, Scale
from canebench.sound.analysis.note_naming import Labels, label
from canebench.sound.analysis.pooling import drone_readings, note_readings
from canebench.sound.analysis.processing import remarks
from canebench.sound.analysis.readings import DroneReading, Measurement, Reference
from canebench.sound.analysis.refusals import refusal_after, refusal_before, several_voices
from canebench.sound.analysis.section import Heard, hear
from canebench.sound.dsp.decimation import sections
from canebench.sound.dsp.level import level_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.sound.analysis.notes.note_tracking import Held
    from canebench.sound.files.recording import Recording

ReferenceChoice = Literal["auto", "drones", "low-a"] | float
_FIXED_RANGE_HZ = (350.0, 600.0)
#: Low G to high A of it must lie within the compass that is listened to.
_HINT_RANGE_HZ = (405.0, 525.0)
#: All notes that show beyond the drones must be steady for so long together: a drone that strikes in seems a
#: short note, and drones that beat a note that is nowhere but on them.
_LEAST_STEADY_S = 0.5


def measure(
    recording: Recording,
    *,
    scale: Scale = DEFAULT_SCALE,
    reference: ReferenceChoice = "auto",
    low_a_near_hz: float | None = None,
) -> Measurement:
    """Measure a take of a chanter, alone or with drones sounding.

    Parameters
    ----------
    recording : Recording
        One take, 8 to 192 kHz; a few notes held for a third of a second or more (better two).
    scale : Scale
        The target scale that notes are named by and cents are counted on.
    reference : "auto", "drones", "low-a" or number in 350 to 600
        What low A is in the cents: twice the tenors' mean (four times the bass where no tenor sounds),
        the chanter's own low A, or a fixed pitch, Hz. "auto" takes the drones where they sound.
    low_a_near_hz : number in 405 to 525 or None
        Roughly where low A is, Hz, for a chanter out of the usual 430 to 500.

    Returns
    -------
    Measurement
        Never raises for what was played: a take that holds no measurable note comes back with a
        finding that says why, and no notes.

    Raises
    ------
    InputError
        A reference or hint outside its range.

    Source: `docs/theory/estimator.md`. Guarded by `tests/analytic/test_measure.py` and `benchmarks/pitch.py`.
    """
    _check("reference", reference if isinstance(reference, (int, float)) else None, _FIXED_RANGE_HZ)
    _check("low A near", low_a_near_hz, _HINT_RANGE_HZ)
    level = level_of(recording)
    findings = list(recording.findings)
    refusal = refusal_before(recording, level)
    heard: list[Heard] = []
    if refusal is None:
        heard = _lasting([hear(section) for section in sections(recording)])
        if several_voices(heard) or not any(part.holds for part in heard):
            refusal = refusal_after(level, heard)
        findings += remarks(recording, level, [part.traces for part in heard])
    drones = drone_readings(heard)
    if refusal is not None:
        drones = drones if refusal.code == "drones-only" else ()
        return _refused(recording, scale, drones, [refusal, *findings])
    return measurement_of(
        heard,
        drones,
        findings,
        take=(recording.origin, recording.duration_s),
        scale=scale,
        reference=reference,
        low_a_near_hz=low_a_near_hz,
    )


def measurement_of(
    heard: Sequence[Heard],
    drones: tuple[DroneReading, ...],
    findings: list[Finding],
    *,
    take: tuple[str, float],
    scale: Scale,
    reference: ReferenceChoice,
    low_a_near_hz: float | None,
) -> Measurement:
    """Name what was heard and count its cents; one held note at least there must be.

    `take` is its origin and length, s.
    """
    from_drones = _drones_low_a(drones)
    holds, labels = _labelled(heard, scale, from_drones, low_a_near_hz)
    names = [name for part in labels for name in part.names]
    low_a_hz = float(np.median([part.low_a_hz for part in labels]))
    own = [hold for hold, name in zip(holds, names, strict=True) if name == LOW_A]
    chanter = Reference(kind="low-a", hz=low_a_hz, sd_hz=math.nan)
    if own:
        (reading,) = note_readings(own, [LOW_A] * len(own), scale, low_a_hz)
        chanter = Reference(kind="low-a", hz=reading.hz, sd_hz=reading.sd_hz)
    chosen = _reference(reference, chanter, from_drones, findings)
    if not all(drone.separable for drone in drones):
        findings.append(
            Finding(
                code="tenors-not-separable",
                text="The tenors lie so near each other that they could not be told apart in this take; "
                "their pitch is less sure. A longer take helps.",
            )
        )
    if drones and not any(drone.drone == "tenor" for drone in drones):
        findings.append(
            Finding(
                code="no-tenor-apart",
                text="No tenor was heard apart from the bass: none sounds, or they lie dead on its octave.",
            )
        )
    findings += _label_findings(labels, holds, names, scale)
    return Measurement(
        origin=take[0],
        duration_s=take[1],
        scale=scale,
        reference=chosen,
        low_a_hz=chanter.hz,
        notes=note_readings(holds, names, scale, chosen.hz),
        drones=drones,
        findings=tuple(findings),
    )


def _lasting(heard: list[Heard]) -> list[Heard]:
    """The same, or without any note where what shows of them is steady too briefly to be a chanter's."""
    steady_s = sum(part.shown_s for part in heard)
    return heard if steady_s >= _LEAST_STEADY_S else [replace(part, holds=()) for part in heard]


def _labelled(
    heard: Sequence[Heard], scale: Scale, from_drones: Reference | None, hint_hz: float | None
) -> tuple[list[Held], list[Labels]]:
    """All holds in time order and their labels: jointly, then by section where a long take drifts."""
    parts = [list(section.holds) for section in heard if section.holds]
    holds = [hold for part in parts for hold in part]
    drones_hz = None if from_drones is None else from_drones.hz
    pitches = np.array([hold.hz for hold in holds])
    whole = label(pitches, scale, drones_low_a_hz=drones_hz, low_a_near_hz=hint_hz)
    if len(parts) == 1:
        return holds, [whole]
    near = [np.array([hold.hz for hold in part]) for part in parts]
    return holds, [
        label(part, scale, drones_low_a_hz=drones_hz, low_a_near_hz=whole.low_a_hz) for part in near
    ]


def _drones_low_a(drones: Sequence[DroneReading]) -> Reference | None:
    """Low A as the drones have it: twice the mean tenor, or four times the bass."""
    tenors = [drone for drone in drones if drone.drone == "tenor"]
    if tenors:
        hz = 2 * float(np.mean([tenor.hz for tenor in tenors]))
        sd = 2 * float(np.sqrt(np.sum([tenor.sd_hz**2 for tenor in tenors]))) / len(tenors)
        return Reference(kind="drones", hz=hz, sd_hz=sd)
    bass = next(iter(drones), None)
    return None if bass is None else Reference(kind="drones", hz=4 * bass.hz, sd_hz=4 * bass.sd_hz)


def _reference(
    choice: ReferenceChoice, chanter: Reference, drones: Reference | None, findings: list[Finding]
) -> Reference:
    if isinstance(choice, (int, float)):
        return Reference(kind="fixed", hz=float(choice), sd_hz=0.0)
    if choice == "drones" and drones is None:
        findings.append(
            Finding(
                code="no-drones", text="No drones were heard: cents are counted from the chanter's low A."
            )
        )
    return drones if drones is not None and choice != "low-a" else chanter


def _label_findings(
    labels: Sequence[Labels], holds: Sequence[Held], names: Sequence[str | None], scale: Scale
) -> list[Finding]:
    found = []
    if any(part.doubtful for part in labels):
        found.append(
            Finding(
                code="names-uncertain",
                text="Another naming of these notes fits nearly as well. Play low A and high A too, "
                "or say roughly where low A is.",
            )
        )
    unnamed = sorted({round(hold.hz, 1) for hold, name in zip(holds, names, strict=True) if name is None})
    if unnamed:
        pitches = ", ".join(f"{hz:g} Hz" for hz in unnamed)
        found.append(
            Finding(
                code="unnamed-pitch",
                text=f"Held pitches that fit no note of the {scale.name} scale were left out: {pitches}."
                + ("" if any(names) else " Play a slow scale, low A and high A in it, and measure again."),
                refuses=not any(names),
            )
        )
    return found


def _refused(
    recording: Recording, scale: Scale, drones: tuple[DroneReading, ...], findings: list[Finding]
) -> Measurement:
    return Measurement(
        origin=recording.origin,
        duration_s=recording.duration_s,
        scale=scale,
        reference=_drones_low_a(drones),
        low_a_hz=None,
        notes=(),
        drones=drones,
        findings=tuple(findings),
    )


def _check(field: str, value: float | None, range_hz: tuple[float, float]) -> None:
    low, high = range_hz
    if value is not None and not low <= value <= high:
        # The commonest slips: the tenor's pitch, or high A's.
        near = [value * 2**octaves for octaves in (1, -1) if low <= value * 2**octaves <= high]
        raise InputError(
            field=field,
            given=f"{value:g} Hz",
            allowed=f"low A lies from {low:g} to {high:g} Hz",
            nearest=f"{near[0]:g} Hz (an octave away)" if near else f"{min(max(value, low), high):g} Hz",
        )
