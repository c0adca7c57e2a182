"""The three numbers in words: height, tilt and what is left. Every door and picture shows these."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from canebench.base.notes import NOTES
from canebench.base.uncertain import Uncertain
from canebench.fitting.acts import amount_of
from canebench.fitting.balance import POSTS
from canebench.fitting.tolerance import (
    HEIGHT_TOLERANCE_CENTS,
    TILT_TOLERANCE_CENTS,
    TOLERANCE_CENTS,
    judge,
)

if TYPE_CHECKING:
    from collections.abc import Collection

    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.fitting.balance import Balance
    from canebench.sound.analysis.readings import Reference


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Height, tilt and what is left in plain words; `basis` says what cents are counted from."""

    basis: str
    height: str
    tilt: str
    left: str


def still_missing(played: Collection[str]) -> str:
    """Name the notes that are not heard yet. Guarded by `tests/web/test_live.py`."""
    missing = [note for note in NOTES if note not in played]
    if not missing:
        return "All nine are heard: stop and measure."
    return f"Still missing: {', '.join(missing)}."


def verdict_of(report: TakeReport) -> Verdict:
    """Put a report into words. Guarded by `tests/doors/test_report.py`."""
    measurement, balance = report.measurement, report.balance
    reference = measurement.reference
    basis = (
        "no cents, since nothing could be measured"
        if reference is None
        else f"cents from the scale {measurement.scale.title} ({measurement.scale.name}), "
        f"against {_against(reference)}"
    )
    if balance is None or reference is None:
        played = {note.note for note in measurement.notes}
        missing = " and ".join(note for note in POSTS if note not in played)
        unknown = f"not known: {missing} not in this take" if missing else "not known"
        return Verdict(basis=basis, height=unknown, tilt=unknown, left=unknown)
    return Verdict(
        basis=basis,
        height=_height(balance.height_cents, reference),
        tilt=_tilt(balance.tilt_cents),
        left=_left(balance),
    )


def _against(reference: Reference) -> str:
    pitch = Uncertain(value=reference.hz, sd=reference.sd_hz).text("Hz")
    return {
        "drones": f"the drones (low A {pitch})",
        "low-a": f"its own low A ({pitch})",
        "fixed": f"low A {reference.hz:g} Hz",
    }[reference.kind]


def _height(height: Uncertain, reference: Reference) -> str:
    if reference.kind == "low-a":
        return "not judged: low A is its own reference here, so only the octave counts"
    name = "the drones" if reference.kind == "drones" else f"{reference.hz:g} Hz"
    side = "flat of" if height.value < 0 else "sharp of"
    return f"{amount_of(height)} {side} {name}{_remark(height, HEIGHT_TOLERANCE_CENTS)}"


def _tilt(tilt: Uncertain) -> str:
    verdict = judge(tilt, TILT_TOLERANCE_CENTS)
    octave = "octave narrow" if tilt.value < 0 else "octave wide"
    hand = f", top hand {'flat' if tilt.value < 0 else 'sharp'}" if verdict == "out" else ""
    return f"{amount_of(tilt)}, {octave}{hand}{_remark(tilt, TILT_TOLERANCE_CENTS)}"


def _remark(value: Uncertain, tolerance: float) -> str:
    return {"in": " – in tolerance", "unresolved": " – too uncertain to tell", "out": ""}[
        judge(value, tolerance)
    ]


def _left(balance: Balance) -> str:
    """What stands off the beam beyond tolerance, furthest first, and what cannot be told."""
    between = {note: rest for note, rest in balance.rest_cents.items() if note not in POSTS}
    verdicts = {note: judge(rest, TOLERANCE_CENTS[note]) for note, rest in between.items()}
    out = sorted((n for n in between if verdicts[n] == "out"), key=lambda n: -abs(between[n].value))
    parts = [f"{n} {amount_of(between[n])} {'above' if between[n].value > 0 else 'below'}" for n in out]
    if not between:
        return "not known: only the As in this take"
    said = ", ".join(parts) + " the beam" if parts else "nothing beyond tolerance"
    unsure = [note for note in NOTES if verdicts.get(note) == "unresolved"]
    return f"{said}; too uncertain to tell: {', '.join(unsure)}" if unsure else said
