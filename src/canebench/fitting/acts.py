"""The closed set of acts, and the words for each: what to do, why, what to check, when to stop.

Guarded by `tests/practice/test_trade.py` and `tests/practice/test_fitting_edges.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from canebench.base.sentences import capitalized
from canebench.base.uncertain import Uncertain
from canebench.fitting.hemp import FIRST_TRY_INCHES, INCH_MM, Hemp


class Act(StrEnum):
    """What a piper may be told to do next. The codes are stable: files and scripts may rely on them."""

    WARM_UP = "warm-up"
    PLAY_THE_OCTAVE = "play-the-octave"
    MEASURE_AGAIN = "measure-again"
    SEAT_DEEPER = "seat-deeper"
    RAISE_WITH_HEMP = "raise-with-hemp"
    CHECK_E_AND_C = "check-e-and-c"
    PLAY_ALL_NINE = "play-all-nine"
    TAPE_OFF = "tape-off"
    TAPE = "tape"
    PINCH = "pinch"
    BREAK_IN = "break-in"
    MOVE_THE_DRONES = "move-the-drones"
    CHECK_THE_SEAT = "check-the-seat"
    CHECK_THE_SETTING = "check-the-setting"
    SET_ASIDE = "set-aside"
    LEAVE = "leave"


@dataclass(frozen=True, slots=True, kw_only=True)
class NextAct:
    """One act.

    Attributes
    ----------
    act : Act
        Its stable code.
    say : str
        What to do, as one would say it across the bench.
    why, check, stop : str
        The reason, how to see whether it worked, and when to do no more of it.
    cautions : tuple of str
        What can be harmed by doing this very act, and how not to.
    """

    act: Act
    say: str
    why: str
    check: str
    stop: str
    cautions: tuple[str, ...] = ()


#: The largest change of seat depth in one move: common practice, no source.
STEP_MM: Final = 0.5

_HEMP: Final = Hemp()

HANDLING: Final = (
    "Hold the reed by the binding: skin oil harms the cane and the tips of the blades chip.",
    "Judge the seat on a bare chanter: tape off first, and its residue too.",
)
_PLAY = "at the strength you usually play, each note held steadily for three seconds"


def amount_of(cents: Uncertain) -> str:
    """How much, where the words around it say which way: "18.0 ± 1.1 cents".

    Parameters
    ----------
    cents : Uncertain
        A deviation, cents, with its standard uncertainty.

    Returns
    -------
    str
        Its size without the sign, ± and unit.
    """
    return Uncertain(value=abs(cents.value), sd=cents.sd).text("cents")


def warm_up(played_min: float, *, enough_min: float) -> NextAct:
    """Ask for warm pipes, before anything is changed.

    Parameters
    ----------
    played_min : number
        How long they were played, minutes.
    enough_min : number
        How long is enough, minutes.

    Returns
    -------
    NextAct
        Always `Act.WARM_UP`.
    """
    played = "not been played" if played_min == 0 else f"been played for {played_min:g} minutes only"
    return NextAct(
        act=Act.WARM_UP,
        say=f"Play the pipes for {enough_min:g} minutes, then record it again.",
        why=(
            f"They had {played}: chanter, reed and drones rise as they warm, each by another amount, so that "
            "what is set cold is out when they are warm."
        ),
        check="Low A no longer rises from one take to the next.",
        stop="Move neither seat nor tape before that.",
    )


def play_the_octave(missing: str, *, why: str) -> NextAct:
    """Ask for the posts of the beam."""
    return NextAct(
        act=Act.PLAY_THE_OCTAVE,
        say=f"Play {missing} too and measure again.",
        why=why,
        check=f"Low A and high A are both in the take, {_PLAY}.",
        stop="Change nothing on reed or chanter before both are there.",
    )


def measure_again(why: str) -> NextAct:
    """Ask for a better take, because this one cannot decide.

    Parameters
    ----------
    why : str
        What it cannot decide: a sentence.

    Returns
    -------
    NextAct
        Always `Act.MEASURE_AGAIN`.
    """
    return NextAct(
        act=Act.MEASURE_AGAIN,
        say="Change nothing and record it once more.",
        why=why,
        check=f"A slow scale, {_PLAY}, longer if the ± does not shrink; a quieter room helps too.",
        stop=(
            "If a second take is no clearer, let pipes and reed warm up; "
            "a reed that will not hold a note needs breaking in."
        ),
    )


def record_again(why: str) -> NextAct:
    """Ask for another take, because nothing in this one could be measured.

    Parameters
    ----------
    why : str
        What stood against measuring: a sentence.

    Returns
    -------
    NextAct
        Always `Act.MEASURE_AGAIN`.
    """
    return NextAct(
        act=Act.MEASURE_AGAIN,
        say="Change nothing and record it once more.",
        why=why,
        check=f"A slow scale, {_PLAY}. Play the recording back: the chanter should be plain to hear.",
        stop="If the next take is refused too, try another place for the microphone, or another recorder.",
    )


def seat_deeper(why: str, *, aim: str) -> NextAct:
    """Sink the reed by one small step, until `aim` is right."""
    return NextAct(
        act=Act.SEAT_DEEPER,
        say=(
            f"Seat the reed deeper, by {STEP_MM} mm at most; "
            "take a turn of hemp off if it will not go by hand."
        ),
        why=why,
        check="Low A, then high A, once more: high A should come up more than low A.",
        stop=(
            f"As soon as {aim} is right. If the top hand turns sharp, it is too deep: back by half. "
            "A reed that is down on the bottom of its seat must not be forced."
        ),
        cautions=HANDLING,
    )


def raise_with_hemp(why: str, *, aim: str, overall: bool = False) -> NextAct:
    """Raise the reed by a little hemp until `aim` is right; `overall` where the whole chanter is sharp."""
    say = (
        f"Raise the reed with a little more hemp, {STEP_MM} mm at most in one go: "
        f"wind on {_HEMP.text(STEP_MM)}."
    )
    if overall:
        low, high = FIRST_TRY_INCHES
        say += (
            f" Where a whole chanter is sharp, {low:g} to {high:g} inches in all, some "
            f"{low * INCH_MM / _HEMP.turn_mm:.0f} to {high * INCH_MM / _HEMP.turn_mm:.0f} turns, are usual."
        )
    return NextAct(
        act=Act.RAISE_WITH_HEMP,
        say=say,
        why=why,
        check="Low A, then high A, once more: high A should come down more than low A.",
        stop=(
            f"As soon as {aim} is right. If the top hand turns flat, take half of the new hemp off. "
            "A reed that no longer sits firmly and airtight has been raised too far."
        ),
        cautions=HANDLING,
    )


def check_e_and_c(missing: str, *, why: str) -> NextAct:
    """Ask for the check posts between the two As."""
    return NextAct(
        act=Act.CHECK_E_AND_C,
        say=f"Now play {missing}, and measure again.",
        why=why,
        check="Each should lie on the beam: E within 3 cents, C within 5.",
        stop="No tape before both have been heard.",
    )


def play_all_nine(missing: str, *, why: str) -> NextAct:
    """Ask for the rest of the scale."""
    return NextAct(
        act=Act.PLAY_ALL_NINE,
        say=f"Now play all nine: {missing} still to come.",
        why=why,
        check=f"A slow scale from low G to high A, {_PLAY}.",
        stop="No tape before all nine have been heard.",
    )


def tape(note: str, *, why: str, doubt: str = "") -> NextAct:
    """Tape one hole, the lowest that needs it; a `doubt` comes before it."""
    strip = f"put a thin strip of tape over the top edge of the hole that {note} speaks from."
    return NextAct(
        act=Act.TAPE,
        say=f"{doubt} If it is, {strip}" if doubt else capitalized(strip),
        why=why,
        check=f"{capitalized(note)}, and the notes above it: tape can flatten those a little too.",
        stop=f"When {note} lies on the beam. If it turns dull, take some off: tape never raises a note.",
        cautions=("Old tape and its residue off first, or the strip will creep.",),
    )


def break_in(note: str, *, why: str, doubt: str = "") -> NextAct:
    """Wait for the reed; a `doubt` comes before it."""
    wait = "leave the seat as it is and play the reed in: one short session a day, dry in between."
    return NextAct(
        act=Act.BREAK_IN,
        say=f"{doubt} If it is, {wait}" if doubt else capitalized(wait),
        why=why,
        check=f"{capitalized(note)} again after three sessions, played as today.",
        stop=f"If {note} has not come up once the reed has settled, try the reed in another chanter.",
        cautions=(HANDLING[0],),
    )


def move_the_drones(direction: str, *, why: str) -> NextAct:
    """Let the drones follow the chanter."""
    return NextAct(
        act=Act.MOVE_THE_DRONES,
        say=f"Leave the reed and tune the drones {direction}.",
        why=why,
        check="Low A against one tenor until the beating stops, then the other tenor, then the bass.",
        stop=(
            "When low A stands still against all three. If a fixed pitch is wanted, for a band say, "
            "measure against that pitch: then the reed has to move."
        ),
    )


def set_aside(why: str) -> NextAct:
    """Give this reed up for this chanter, not for good.

    Parameters
    ----------
    why : str
        The reason, a sentence or more.

    Returns
    -------
    NextAct
    """
    return NextAct(
        act=Act.SET_ASIDE,
        say="Set this reed aside for this chanter, and note why; it may suit another.",
        why=why,
        check="The same reed in another chanter, or another reed in this one, tells which of them it is.",
        stop="Two unlike reeds with the same bad note point to the chanter; then leave the reeds alone.",
        cautions=(HANDLING[0],),
    )


def leave(why: str) -> NextAct:
    """Nothing to do.

    Parameters
    ----------
    why : str
        The reason, a sentence or more.

    Returns
    -------
    NextAct
    """
    return NextAct(
        act=Act.LEAVE,
        say="Leave it alone and play.",
        why=why,
        check="The same take after the next session: a new reed still moves while it is broken in.",
        stop="When low A has moved by less than 3 cents over three sessions: then the reed has settled.",
    )


def check_that_it_moved() -> NextAct:
    """The seat is said to have been moved and nothing answered."""
    return NextAct(
        act=Act.CHECK_THE_SEAT,
        say="Check that the reed really moved, and that it is not down on the bottom of its seat.",
        why=(
            "The seat was told as moved, but the notes hardly answered. A reed on the bottom, one that "
            "turned instead of sinking, or one that leaks does that."
        ),
        check="Measure the length that stands out of the seat, set it, and record it once more.",
        stop="If it is on the bottom, or no longer sits firm and airtight, go back to where it answered.",
        cautions=(HANDLING[0],),
    )


def check_the_setting() -> NextAct:
    """The newest take does not fit what was told to have been done."""
    return NextAct(
        act=Act.CHECK_THE_SETTING,
        say="Check what was done since the last take, tell it as it is, and record it once more.",
        why=(
            "This take hardly fits this reed in the setting told: an act may have gone the other way, been "
            "left out or been told twice, a strip may have crept, or it is another reed."
        ),
        check="The seat, each strip of tape, and the number on the reed.",
        stop="If all is as told, the next take counts as it is.",
    )
