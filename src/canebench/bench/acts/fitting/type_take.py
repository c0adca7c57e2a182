"""A take without a microphone: readings typed from any meter, in hertz or cents.

Guarded by `tests/doors/test_typed_take.py`.
"""

from __future__ import annotations

import math
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Final

from canebench.base.errors import DoubtError, InputError, UnknownNameError
from canebench.base.notes import LOW_A, NOTES
from canebench.base.sentences import listed
from canebench.base.units import CENTS_PER_NEPER, cents_to_hz, hz_to_cents
from canebench.fitting.slips import slips_of
from canebench.sound.analysis.readings import Measurement, NoteReading, Reference

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from canebench.base.scales import Scale

UNITS: Final = ("Hz", "cents")
#: How well a reading typed from a meter is known, cents, where nothing is said: an estimate of ours.
METER_CENTS: Final = 1.0
_HZ: Final = (300.0, 1_400.0)
_CENTS: Final = (-150.0, 150.0)


class NoPitchError(InputError):
    """Cents without the pitch that they count from; how to tell it, `nearest`, each door knows for itself."""

    code: ClassVar[str] = "no-pitch"

    def __init__(self, *, nearest: str | None = None) -> None:
        super().__init__(
            field="typed cents",
            given="no fixed pitch",
            allowed="cents on a meter count from the low A that it was set to",
            nearest=nearest,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """One reading as it was typed: hertz, or cents from the target on a fixed low A."""

    value: float
    unit: str

    def __post_init__(self) -> None:
        if self.unit not in UNITS:
            raise UnknownNameError(field="unit of a reading", given=self.unit, known=UNITS)
        low, high = _HZ if self.unit == "Hz" else _CENTS
        if not math.isfinite(self.value) or not low <= self.value <= high:
            raise InputError(
                field="typed reading",
                given=f"{self.value:g} {self.unit}",
                allowed=f"from {low:g} to {high:g} {self.unit} is a chanter's",
                nearest="perhaps the unit is missing" if self.unit == "Hz" else None,
            )


class AsTyped(dict[str, Typed]):
    """Readings that are taken as they are, even where a step between two looks like a slip."""


@contextmanager
def answered_by(*, doubt: str, no_pitch: str) -> Iterator[None]:
    """What a person can do about readings that were refused, in the words of the door they came by.

    `doubt` is the nearest thing where a reading looks like a slip, `no_pitch` where cents lack their pitch.
    """
    try:
        yield
    except DoubtError as error:
        raise DoubtError(
            field=error.field, given=error.given, allowed=error.allowed, nearest=doubt
        ) from error
    except NoPitchError as error:
        raise NoPitchError(nearest=no_pitch) from error


def typed_take(
    readings: Mapping[str, Typed],
    *,
    scale: Scale,
    reference_hz: float | None,
    sd_cents: float = METER_CENTS,
) -> Measurement:
    """A measurement from typed readings.

    Parameters
    ----------
    readings : mapping of note to Typed
        What the meter said; `AsTyped` where a step between two looks like a slip and is none.
    scale : Scale
        The target.
    reference_hz : number or None
        A fixed low A, Hz, which readings in cents need; without one, cents count from low A as typed.
    sd_cents : number > 0
        How well each reading is known.

    Raises
    ------
    DoubtError
        There is such a step; both readings are told.
    NoPitchError
        Cents without a fixed low A.
    InputError
        No low A, an unknown note, or an uncertainty that is none.
    """
    for note in readings:
        if note not in NOTES:
            raise UnknownNameError(field="note", given=note, known=NOTES)
    if not 0 < sd_cents <= 50:
        raise InputError(field="uncertainty", given=f"{sd_cents:g} cents", allowed="above 0 to 50 cents")
    if reference_hz is None and any(one.unit == "cents" for one in readings.values()):
        raise NoPitchError
    if not readings or (reference_hz is None and LOW_A not in readings):
        raise InputError(
            field="typed readings", given="no low A", allowed="low A is needed, or a fixed pitch"
        )
    hz = {note: _hz(note, one, scale, reference_hz) for note, one in readings.items()}
    if not isinstance(readings, AsTyped):
        _ask(readings, hz, scale)
    low_a = reference_hz if reference_hz is not None else hz[LOW_A]
    sd_share = sd_cents / CENTS_PER_NEPER
    return Measurement(
        origin="typed",
        duration_s=0.0,
        scale=scale,
        reference=Reference(
            kind="low-a" if reference_hz is None else "fixed",
            hz=low_a,
            sd_hz=low_a * sd_share if reference_hz is None else 0.0,
        ),
        low_a_hz=hz.get(LOW_A),
        notes=tuple(_reading(note, hz[note], low_a, scale, sd_cents) for note in NOTES if note in hz),
        drones=(),
        findings=(),
    )


def _ask(readings: Mapping[str, Typed], hz: Mapping[str, float], scale: Scale) -> None:
    """Nothing where no step is odd."""
    slips = slips_of(hz, scale)
    if slips:
        doubtful = [note for note in NOTES if any(note in slip.notes for slip in slips)]
        raise DoubtError(
            field="typed readings",
            given=listed([f"{note} {readings[note].value:g} {readings[note].unit}" for note in doubtful]),
            allowed="; ".join(slip.said for slip in slips),
        )


def _hz(note: str, one: Typed, scale: Scale, reference_hz: float | None) -> float:
    if one.unit == "Hz" or reference_hz is None:
        return one.value
    return cents_to_hz(one.value, reference_hz * scale.ratios[note])


def _reading(note: str, hz: float, low_a_hz: float, scale: Scale, sd_cents: float) -> NoteReading:
    return NoteReading(
        note=note,
        hz=hz,
        sd_hz=hz * sd_cents / CENTS_PER_NEPER,
        cents=hz_to_cents(hz, low_a_hz * scale.ratios[note]),
        sd_cents=sd_cents,
        drift_cents_per_s=0.0,
        spread_cents=0.0,
        spans_s=(),
        level_db=math.nan,
    )
