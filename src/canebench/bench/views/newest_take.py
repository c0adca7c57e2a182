"""What "now" is: the newest take's number, and what all takes together say only where that is another.

The page and the command show the same. Guarded by `tests/doors/test_plan_pages.py` and
`tests/web/test_fitting_view.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from canebench.bench.acts.fitting.plan_setting import Plan
    from canebench.fitting.balance import Deviation

#: Nearer to each other than this, cents, newest take and belief say the same to any ear.
_SAME_CENTS: Final = 1.0


def heard_now(plan: Plan) -> dict[str, Deviation]:
    """The newest take's notes, and no other."""
    return {note: one for note, one in plan.now.items() if note in plan.heard}


def told_by_all(plan: Plan, note: str) -> Deviation | None:
    """What all takes together say of a note, where the newest says another thing or lacks it; else None."""
    believed = plan.believed[note]
    if note not in plan.heard:
        return believed if len(plan.fitting.takes) > 1 else None
    apart = abs(plan.now[note].cents - believed.cents) > max(_SAME_CENTS, believed.sd_cents)
    return believed if apart else None
