"""From where the setting is to where it shall be: one act at a time, in the order of the trade.

Tape off before a new reed is judged; the reed before the seat, the seat before the tape, tape from the bottom
up (common practice, no source). Guarded by `tests/practice/test_working_order.py` and
`tests/practice/test_fitting_edges.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from canebench.base.fingering import HOLES
from canebench.fitting.acts import Act

if TYPE_CHECKING:
    from canebench.base.setting import Setting

#: Less than this is not worth an act, mm.
_SEAT_MM = 0.01
_TAPE_MM = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One act and the setting after it; `hole` where it is about one."""

    act: Act
    before: Setting
    after: Setting
    hole: str | None = None

    @property
    def seat_mm(self) -> float:
        """How much deeper the reed sits after it."""
        return self.after.seat_mm - self.before.seat_mm

    def tape_mm(self) -> tuple[float, float]:
        """Tape on the hole before and after it."""
        hole = self.hole or ""
        return self.before.tape_mm.get(hole, 0.0), self.after.tape_mm.get(hole, 0.0)


def working_order(present: Setting, planned: Setting) -> tuple[Move, ...]:
    """The moves from one setting to the other.

    Parameters
    ----------
    present, planned : Setting
        Where it is, and where it shall be.

    Returns
    -------
    tuple of Move
        In the order of the trade; none where they are the same.
    """
    moves: list[Move] = []

    def then(act: Act, after: Setting, hole: str | None = None) -> None:
        before = moves[-1].after if moves else present
        moves.append(Move(act=act, before=before, after=after, hole=hole))

    def now() -> Setting:
        return moves[-1].after if moves else present

    if present.tape_mm and not planned.tape_mm:
        then(Act.TAPE_OFF, replace(present, tape_mm={}))
    if planned.pinches > now().pinches:
        then(Act.PINCH, replace(now(), pinches=planned.pinches))
    travel = planned.seat_mm - now().seat_mm
    if abs(travel) > _SEAT_MM:
        then(
            Act.SEAT_DEEPER if travel > 0 else Act.RAISE_WITH_HEMP,
            replace(now(), seat_mm=planned.seat_mm),
        )
    for hole in reversed(HOLES):
        wanted = planned.tape_mm.get(hole, 0.0)
        if abs(wanted - now().tape_mm.get(hole, 0.0)) > _TAPE_MM:
            tape = {**now().tape_mm, hole: wanted}
            then(Act.TAPE if wanted > 0 else Act.TAPE_OFF, replace(now(), tape_mm=tape), hole)
    return tuple(moves)
