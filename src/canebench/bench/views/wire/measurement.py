"""A report as a written object: the single place where it gets its written form.

Fields may be added to it, none change their meaning under the same schema name. Guarded by
`tests/doors/test_wire.py` and `tests/frozen/test_wire_objects.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final

from msgspec import UNSET, UnsetType

from canebench.bench.views.wire.after import AfterWritten, after_of
from canebench.bench.views.wire.pieces import (
    ActWritten,
    ByNote,
    Json,
    NoteName,
    Pitch,
    Size,
    Written,
    act_of,
    figure,
    plain,
    told,
    written,
)
from canebench.sound.analysis.readings import DroneName, ReferenceKind

if TYPE_CHECKING:
    from canebench.bench.acts.fitting.after_act import AfterAct
    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.fitting.balance import Balance

SCHEMA: Final = "canebench.measurement/1"

Spans = Annotated[
    tuple[tuple[float, float], ...], told("Start and end in seconds of the parts that were averaged.")
]


class ReferenceWritten(Written, frozen=True, kw_only=True):
    """The pitch of low A that cents are counted from."""

    kind: ReferenceKind
    hz: Pitch
    sd_hz: Size | None


class NoteWritten(Written, frozen=True, kw_only=True):
    """One note of the take, pooled over all its steady parts."""

    note: NoteName
    hz: Annotated[Pitch | None, told("Mean frequency over spans_s.")]
    sd_hz: Annotated[Size | None, told("Standard uncertainty of that mean.")]
    cents: Annotated[float | None, told("Deviation from the scale on the reference.")]
    sd_cents: Annotated[
        Size | None,
        told(
            "Its standard uncertainty, of the mean over spans_s, against the reference as stated: the "
            "reference's own stands with it."
        ),
    ]
    repeat_sd_cents: Annotated[
        Size | None,
        told(
            "The same for another take: with what unsteady blowing leaves in a mean of that length. Balance "
            "and next act rest on it."
        ),
    ] = None
    drift_cents_per_s: float | None
    spread_cents: Annotated[Size | None, told("How much the pitch moved about its mean.")]
    spans_s: Spans
    level_db: Annotated[float | None, told("dB re full scale.")] = None


class DroneWritten(Written, frozen=True, kw_only=True):
    """One drone: mean frequency over the time it sounds."""

    drone: DroneName
    hz: Pitch | None
    sd_hz: Size | None
    spread_cents: Size | None = None
    spans_s: Spans = ()
    separable: Annotated[bool, told("False for a tenor that could not be told apart from another.")] = True


class BalanceWritten(Written, frozen=True, kw_only=True):
    """The beam, d being a note's deviation in cents."""

    height_cents: Annotated[float | None, told("(d[low A] + d[high A]) / 2")]
    height_sd_cents: Size | None
    tilt_cents: Annotated[float | None, told("d[high A] - d[low A]")]
    tilt_sd_cents: Size | None
    rest_cents: ByNote
    rest_sd_cents: dict[NoteName, Size | None]


class FindingWritten(Written, frozen=True, kw_only=True):
    """One remark."""

    code: str
    text: str
    refuses: bool


class MeasurementWritten(Written, frozen=True, kw_only=True, tag_field="schema", tag=SCHEMA):
    """What one take says.

    Printed by `canebench measure --json`. Absent values are null, never 0. Fields may be added under this
    name; none changes its meaning.
    """

    origin: Annotated[str, told("File name of the take.")]
    duration_s: Size | None
    scale: Annotated[str, told("Name of the target scale, as listed by `canebench scales`.")]
    refused: Annotated[bool, told("True when no notes are reported, for a reason among the findings.")]
    reference: Annotated[ReferenceWritten | None, told("Null in a refused take.")]
    low_a_hz: Pitch | None
    notes: tuple[NoteWritten, ...]
    drones: tuple[DroneWritten, ...]
    balance: Annotated[BalanceWritten | None, told("Null where low A or high A was not played.")]
    next_act: ActWritten
    findings: tuple[FindingWritten, ...]
    after_act: Annotated[AfterWritten | UnsetType, told("With --fitting: what the act before did.")] = UNSET


def report_object(report: TakeReport, *, after: AfterAct | None = None) -> Json:
    """The report as plain JSON values, with what an act did where that was looked at."""
    measurement, reference = report.measurement, report.measurement.reference
    found = written(
        MeasurementWritten,
        measurement,
        scale=measurement.scale.name,
        reference=None if reference is None else written(ReferenceWritten, reference),
        notes=tuple(
            written(NoteWritten, note, repeat_sd_cents=figure(report.repeat_sd_cents[note.note]))
            for note in measurement.notes
        ),
        drones=tuple(written(DroneWritten, drone) for drone in measurement.drones),
        balance=None if report.balance is None else _balance(report.balance),
        next_act=act_of(report.next_act),
        findings=tuple(written(FindingWritten, finding) for finding in measurement.findings),
        after_act=UNSET if after is None else after_of(after),
    )
    return plain(found)


def _balance(balance: Balance) -> BalanceWritten:
    rest = balance.rest_cents.items()
    return BalanceWritten(
        height_cents=figure(balance.height_cents.value),
        height_sd_cents=figure(balance.height_cents.sd),
        tilt_cents=figure(balance.tilt_cents.value),
        tilt_sd_cents=figure(balance.tilt_cents.sd),
        rest_cents={note: figure(one.value) for note, one in rest},
        rest_sd_cents={note: figure(one.sd) for note, one in rest},
    )
