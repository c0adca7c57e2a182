"""The reeds of the invented season: four that were fitted, and one for each thing a plan can say.

All of it is invented. A reed is described by the setting in which its notes lie on the scale; in any other it
plays what seat and tape usually do from there. Its notes are clearly in tune or clearly out, so that what is
said of it is no matter of a cent. Guarded by `tests/doors/test_demo_season.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from canebench.base.setting import Setting
from canebench.reeds.states import State

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoReed:
    """One reed in one chanter.

    Attributes
    ----------
    number, chanter, player : str
        Which, in which, for whom.
    playing_inh2o : number
        Its strength before break-in.
    right : Setting
        Where its notes lie on the scale, but for those that are `off_cents`.
    told : tuple of Setting
        The setting told with each take.
    stuck : bool
        Whether it stays where it sat at the first take, whatever is told.
    sessions : int
        Evenings of playing; a reed that is settled after them is measured once more.
    state : State
        Where it ends, with `reason`; one that ends on trial has that of the trial.
    remarks : str
        What it teaches, in a sentence or two.
    pinched : bool
        Once and lightly, before its first take.
    """

    number: str
    chanter: str
    player: str
    playing_inh2o: float
    state: State
    remarks: str
    reason: str = ""
    right: Setting = field(default_factory=Setting)
    told: tuple[Setting, ...] = (Setting(),)
    off_cents: Mapping[str, float] = field(default_factory=dict)
    stuck: bool = False
    sessions: int = 0
    pinched: bool = False


_STILL: Final = "strength and pitch still for three sessions"

REEDS: Final = (
    DemoReed(
        number="1",
        chanter="number 1",
        player="Isla Penhallow",
        playing_inh2o=29,
        right=Setting(seat_mm=1.5),
        told=(Setting(), Setting(seat_mm=1.5)),
        sessions=8,
        state=State.SETTLED,
        reason=_STILL,
        remarks=(
            "Its octave was narrow at a firm hand seat. Seated 1.5 mm deeper, in moves of half a millimetre, "
            "it was right; nothing was taped. In tune since: leave it alone and play."
        ),
    ),
    DemoReed(
        number="2",
        chanter="number 2",
        player="Rory Tamlin",
        playing_inh2o=31,
        right=Setting(seat_mm=-1.5),
        told=(Setting(), Setting(seat_mm=-1.5)),
        sessions=8,
        state=State.SETTLED,
        reason=_STILL,
        remarks=(
            "Its octave was wide at a firm hand seat: the top hand sharp. Five turns of hemp raised it "
            "by 1.5 mm, and that was all. In tune since: leave it alone and play."
        ),
    ),
    DemoReed(
        number="3",
        chanter="number 3",
        player="Effie Garrow",
        playing_inh2o=28,
        right=Setting(tape_mm={"E": 2.5}),
        told=(Setting(), Setting(tape_mm={"E": 2.5})),
        sessions=8,
        state=State.SETTLED,
        reason=_STILL,
        remarks=(
            "Its octave was right at once and E alone was sharp, so the seat stayed and one strip went on. "
            "In tune since: leave it alone and play."
        ),
    ),
    DemoReed(
        number="4",
        chanter="number 4",
        player="Coll Brannock",
        playing_inh2o=36,
        pinched=True,
        sessions=8,
        state=State.SETTLED,
        reason=_STILL,
        remarks=(
            "Strong when it came: one light pinch, the only one of its life so far, and the rest was left to "
            "playing in. In tune at a firm hand seat from its first take: leave it alone and play."
        ),
    ),
    DemoReed(
        number="19",
        chanter="number 1",
        player="Isla Penhallow",
        playing_inh2o=29,
        off_cents={"F": -9.0},
        sessions=3,
        state=State.BREAKING_IN,
        reason="all in tune but F, which is flat",
        remarks=(
            "A flat note on a bare hole: tape never raises one, and the octave is right, so the seat stays. "
            "Playing in usually brings it up."
        ),
    ),
    DemoReed(
        number="20",
        chanter="number 2",
        player="Rory Tamlin",
        playing_inh2o=32,
        off_cents={"C": 10.0},
        state=State.ON_TRIAL,
        remarks="The octave is right and C is sharp: that is what tape is for, and only that note gets it.",
    ),
    DemoReed(
        number="21",
        chanter="number 3",
        player="Effie Garrow",
        playing_inh2o=26,
        right=Setting(seat_mm=1.5),
        state=State.ON_TRIAL,
        remarks="The octave is narrow, the top hand flat: a deeper seat sharpens all, and the top hand most.",
    ),
    DemoReed(
        number="22",
        chanter="number 4",
        player="Coll Brannock",
        playing_inh2o=34,
        right=Setting(seat_mm=-1.5),
        state=State.ON_TRIAL,
        remarks="The octave is wide, the top hand sharp: hemp raises it, and the top hand comes down most.",
    ),
    DemoReed(
        number="23",
        chanter="number 1",
        player="Isla Penhallow",
        playing_inh2o=28,
        off_cents={"C": -30.0},
        state=State.SET_ASIDE,
        reason="C is far too flat in this chanter",
        remarks=(
            "The octave is right and C is 30 cents flat: no seat and no tape mends that, and playing in "
            "rarely brings up so much. Set aside for this chanter; it may suit another."
        ),
    ),
    DemoReed(
        number="24",
        chanter="number 2",
        player="Rory Tamlin",
        playing_inh2o=32,
        right=Setting(seat_mm=1.5),
        told=(Setting(), Setting(seat_mm=1.5)),
        stuck=True,
        state=State.ON_TRIAL,
        remarks=(
            "Told as seated 1.5 mm deeper, and nothing answered: it turned in its seat, or it is on the "
            "bottom. That is looked at before anything else is done."
        ),
    ),
)
