"""What a person asks of one round of a fitting, whichever door they come by and whatever keeps the fitting.

Guarded by `tests/doors/test_plan_command.py` and `tests/doors/test_after_act.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Final, Literal, TypeVar

from canebench.base.errors import InputError
from canebench.base.setting import Setting
from canebench.bore.chanter_file import read
from canebench.fitting.hemp import Hemp
from canebench.fitting.limits import Limits, check_seat

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from canebench.base.scales import Scale
    from canebench.bench.acts.fitting.fitting import Fitting
    from canebench.bench.acts.fitting.type_take import Typed

Kind = TypeVar("Kind", Limits, Hemp)

#: Stands for "all acts of the plan were done".
ALL: Final = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class FitRequest:
    """A take, how it was set, and what to aim at; None leaves the fitting's own, or is not known.

    `heard` is a sound file or what a meter said, None for the takes so far. `done` is how many acts of the
    last plan were done before it, or `ALL`; `seat_mm`, `tape_mm` and `pinches` tell its setting where that
    is another. Tape is told hole by hole: a strip stays on until 0 says that it is off, and no hole at all
    says that the chanter is bare. `low_a_near_hz` is roughly where low A is, if unusual; `room_degc`,
    `room_rh` and `warm_min` are the room, °C and %, and how long the pipes were played before. `sizes` is the
    chanter's file, for a fitting that has no take yet; `reference` a fixed low A, Hz, or "drones" that follow
    it. What comes after is called so by `Limits` and `Hemp`.
    """

    heard: Path | Mapping[str, Typed] | None = None
    done: int = 1
    seat_mm: float | None = None
    tape_mm: Mapping[str, float] | None = None
    pinches: int | None = None
    low_a_near_hz: float | None = None
    room_degc: float | None = None
    room_rh: float | None = None
    warm_min: float | None = None
    sizes: Path | None = None
    scale: Scale | None = None
    reference: float | Literal["drones"] | None = None
    deeper_mm: float | None = None
    higher_mm: float | None = None
    step_mm: float | None = None
    most_strips: int | None = None
    pinches_left: int | None = None
    thread_mm: float | None = None
    inches_per_mm: float | None = None

    def on(self, fitting: Fitting) -> Fitting:
        """The fitting with what was asked for."""
        if self.sizes is not None:
            if fitting.takes:
                raise InputError(
                    field="chanter",
                    given=str(self.sizes),
                    allowed="a fitting keeps the chanter it was begun with",
                    nearest="begin another fitting file",
                )
            fitting = replace(fitting, chanter=read(self.sizes))
        if self.reference is not None:
            fitting = replace(fitting, reference_hz=None if self.reference == "drones" else self.reference)
        return self.bounding(replace(fitting, scale=self.scale or fitting.scale))

    def bounding(self, fitting: Fitting) -> Fitting:
        """The fitting with the limits and the hemp that were told."""
        return replace(fitting, limits=self._told(fitting.limits), hemp=self._told(fitting.hemp))

    def _told(self, record: Kind) -> Kind:
        given = {one.name: getattr(self, one.name, None) for one in fields(record)}
        return replace(record, **{name: value for name, value in given.items() if value is not None})

    def setting(self, present: Setting, planned: Sequence[Setting], *, deepest_mm: float) -> Setting:
        """The setting now, from the last one known and the ones planned after it.

        `deepest_mm` is where the chanter's seat has its bottom: a seat told beyond it is an error.
        """
        told_whole = self.seat_mm is not None and self.tape_mm is not None
        if told_whole or (not planned and self.done in (ALL, 0, 1)):
            start = present
        elif self.done == ALL:
            start = planned[-1]
        elif 0 <= self.done <= len(planned):
            start = planned[self.done - 1] if self.done else present
        else:
            raise InputError(
                field="acts done",
                given=f"{self.done}",
                allowed=f"the last plan has {len(planned)} acts",
                nearest="all",
            )
        found = Setting(
            seat_mm=start.seat_mm if self.seat_mm is None else self.seat_mm,
            tape_mm=self._tape_on(start),
            pinches=start.pinches if self.pinches is None else self.pinches,
        )
        if self.seat_mm is not None:
            check_seat(self.seat_mm, deepest_mm=deepest_mm)
        return found

    def _tape_on(self, start: Setting) -> Mapping[str, float]:
        if self.tape_mm is None:
            return start.tape_mm
        return {**start.tape_mm, **self.tape_mm} if self.tape_mm else {}

    def left(self, setting: Setting, planned: Sequence[Setting]) -> Sequence[Setting]:
        """The planned settings that are still to come in `setting`; none where it is off the plan."""
        done = len(planned) if self.done == ALL else self.done
        if 0 < done <= len(planned) and planned[done - 1] == setting:
            # Counted, not looked for: two settings of a plan may be the same, in a fitting kept earlier.
            return planned[done:]
        if done == 0 and self.seat_mm is None and self.tape_mm is None and self.pinches is None:
            return planned
        return planned[planned.index(setting) + 1 :] if setting in planned else ()
