"""From balance to the one next act, in the order of the trade.

Low A with high A first, then E and C, then all nine; the seat before the tape, the drones last. These are
facts of the trade: common practice, no source. They are held by `tests/practice/`, the limits by
`tests/practice/test_fitting_edges.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

from canebench.base.notes import LOW_G, NOTES, C, E, F
from canebench.base.sentences import listed
from canebench.base.uncertain import Uncertain, number
from canebench.fitting import acts
from canebench.fitting.acts import amount_of
from canebench.fitting.balance import POSTS, Balance, Deviation, balance_of, missing_posts
from canebench.fitting.tolerance import (
    HEIGHT_TOLERANCE_CENTS,
    TILT_TOLERANCE_CENTS,
    TOLERANCE_CENTS,
    judge,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from canebench.fitting.acts import NextAct

Against = Literal["drones", "low-a", "fixed"]

#: A reed is given up when one of these stays this flat with all else right. They have the same target in
#: every published scale, so that no other choice of scale can explain it. Common practice, no source.
FLAT_LIMIT_CENTS: Final = 15.0
_SAME_IN_EVERY_SCALE: Final = (C, E, F)
#: Published scales differ by up to 48.8 cents in one note (high G, 7/4 to 9/5): a wider range is not theirs.
SPREAD_LIMIT_CENTS: Final = 50.0
#: Change of height for one cent of tilt when the seat moves: the range of a lossy transmission-line model
#: of an invented chanter (raised by 1 mm, low A and high A fall by 2.6 and 9.9 to 8.0 and 19.0 cents).
SEAT_HEIGHT_PER_TILT: Final = (0.86, 1.23)
#: What would be left of the height once the seat has put the octave right, beyond which another reed is
#: less work: about a tenth of a tone, five times what a trained ear hears. An estimate of ours.
CONFLICT_LIMIT_CENTS: Final = 20.0


def next_act(deviations: Mapping[str, Deviation], *, against: Against, reference_sd_cents: float) -> NextAct:
    """The one thing to do next.

    Parameters
    ----------
    deviations : mapping of note name to Deviation
        The notes that were played, deviations in cents from the target on the reference.
    against : "drones", "low-a" or "fixed"
        What the deviations are counted from. Against low A the height says nothing beyond the tilt and
        is not judged. Drones can follow the chanter, so height against them comes last and moves the
        drones, not the reed. Only against a fixed pitch does height move the reed.
    reference_sd_cents : number >= 0
        Standard uncertainty of that reference in cents; 0 for "low-a".

    Returns
    -------
    NextAct
        Exactly one. A value counts as out of tolerance only with three chances in four; where the
        uncertainty is too large to tell, the act is to measure again.

    Notes
    -----
    Guarded by `tests/practice/test_trade.py`, `tests/practice/test_why_told.py` and
    `tests/invariants/test_next_act.py`.
    """
    balance = balance_of(deviations, reference_sd_cents=reference_sd_cents)
    if balance is None:
        missing = listed(missing_posts(deviations))
        return acts.play_the_octave(
            missing, why=f"Low A with high A comes first: without {missing} there is no octave to judge."
        )
    fixed = against == "fixed"
    return (
        _octave(balance, fixed=fixed)
        or (_height(balance) if fixed else None)
        or _posts_between(balance)
        or _nine(balance)
        or (_drones(balance) if against == "drones" else None)
        or acts.leave(_why_leave(balance, against))
    )


def _octave(balance: Balance, *, fixed: bool) -> NextAct | None:
    tilt = balance.tilt_cents
    verdict = judge(tilt, TILT_TOLERANCE_CENTS)
    if verdict == "in":
        return None
    if verdict == "unresolved":
        return acts.measure_again(_unresolved("the octave", tilt, TILT_TOLERANCE_CENTS))
    if fixed and (refusal := _conflict(balance)):
        return refusal
    against_it = _height_gets_worse(balance) if fixed else ""
    if _sharp(tilt):
        return acts.raise_with_hemp(
            f"The top hand is sharp: the octave is {amount_of(tilt)} wide. "
            f"A higher seat flattens every note, the top hand most.{against_it}",
            aim="the octave",
        )
    return acts.seat_deeper(
        f"The top hand is flat: the octave is {amount_of(tilt)} narrow. "
        f"A deeper seat sharpens every note, the top hand most.{against_it}",
        aim="the octave",
    )


def _conflict(balance: Balance) -> NextAct | None:
    """Height and tilt that ask for opposite moves, further apart than the seat can bring together."""
    height, tilt = balance.height_cents, balance.tilt_cents
    if judge(height, HEIGHT_TOLERANCE_CENTS) != "out" or _sharp(height) is _sharp(tilt):
        return None
    left = [abs(height.value - ratio * tilt.value) for ratio in SEAT_HEIGHT_PER_TILT]
    if min(left) <= CONFLICT_LIMIT_CENTS:
        return None
    overall, wanted = ("sharp", "higher") if _sharp(height) else ("flat", "deeper")
    top, needed = ("sharp", "higher") if _sharp(tilt) else ("flat", "deeper")
    return acts.set_aside(
        f"It is {amount_of(height)} {overall} overall, which asks for a {wanted} seat, but its top hand is "
        f"{amount_of(tilt)} {top}, which asks for a {needed} one. With the octave right it would be about "
        f"{number(sum(left) / 2, 0)} cents {overall} of the pitch you asked for: more than seating can mend."
    )


def _height_gets_worse(balance: Balance) -> str:
    height, tilt = balance.height_cents, balance.tilt_cents
    if judge(height, HEIGHT_TOLERANCE_CENTS) != "out" or _sharp(height) is _sharp(tilt):
        return ""
    overall = "sharp" if _sharp(height) else "flat"
    return (
        f" It is {overall} overall as well, and this will make it more so; the octave comes first all the "
        f"same. If the octave is right and the pitch still {overall}, this reed does not suit this pitch."
    )


def _height(balance: Balance) -> NextAct | None:
    """Overall pitch against a fixed pitch, the octave being right."""
    height = balance.height_cents
    verdict = judge(height, HEIGHT_TOLERANCE_CENTS)
    if verdict == "in":
        return None
    if verdict == "unresolved":
        return acts.measure_again(_unresolved("the overall pitch", height, HEIGHT_TOLERANCE_CENTS))
    watch = "Watch the octave, which the seat moves too. On cold pipes, warm them up and measure first."
    if _sharp(height):
        return acts.raise_with_hemp(
            f"The octave is right but the whole chanter is {amount_of(height)} sharp of the pitch asked for, "
            f"and a higher seat flattens every note. {watch}",
            aim="the pitch",
            overall=True,
        )
    return acts.seat_deeper(
        f"The octave is right but the whole chanter is {amount_of(height)} flat of the pitch asked for, "
        f"and a deeper seat sharpens every note. {watch}",
        aim="the pitch",
    )


def _posts_between(balance: Balance) -> NextAct | None:
    """E and C, the check posts between the two As."""
    missing = [note for note in (E, C) if note not in balance.rest_cents]
    if missing:
        return acts.check_e_and_c(
            listed(missing),
            why="The octave is right. E and C in between show whether the reed suits the chanter.",
        )
    return _judge_flat(balance, (E, C)) or _judge_unresolved(balance, (E, C))


def _nine(balance: Balance) -> NextAct | None:
    """All nine: what is left above the beam is tape's work, what is left below it is not."""
    missing = [note for note in NOTES if note not in balance.rest_cents]
    if missing:
        return acts.play_all_nine(
            listed(missing), why="The octave, E and C are right: now the rest of the scale."
        )
    wide = _too_wide(balance)
    if wide is not None:
        return wide
    # The low G comes out of no finger hole, so that a strip of tape has nowhere to go.
    sharp = [note for note in _out(balance, NOTES) if _sharp(balance.rest_cents[note]) and note != LOW_G]
    if sharp:
        others = f" {listed(sharp[1:])} can wait: work from the bottom up." if sharp[1:] else ""
        rest = amount_of(balance.rest_cents[sharp[0]])
        return acts.tape(
            sharp[0],
            why=(
                f"The octave is right and {sharp[0]} stays {rest} above the beam. Tape only flattens.{others}"
            ),
            doubt=_other_scale(balance, sharp[0]),
        )
    above_g = tuple(note for note in NOTES if note != LOW_G)
    return _judge_flat(balance, above_g) or _judge_unresolved(balance, NOTES)


def _too_wide(balance: Balance) -> NextAct | None:
    ranked = sorted(balance.rest_cents, key=lambda note: balance.rest_cents[note].value)
    low, high = balance.rest_cents[ranked[0]], balance.rest_cents[ranked[-1]]
    width = Uncertain(value=high.value - low.value, sd=_sd(low) + _sd(high))
    if judge(width, SPREAD_LIMIT_CENTS) != "out":
        return None
    return acts.set_aside(
        f"From {ranked[0]} to {ranked[-1]} the notes spread over {amount_of(width)} about the beam. "
        f"That is more than any two published scales differ, and more than seat and tape can mend."
    )


def _judge_flat(balance: Balance, notes: Iterable[str]) -> NextAct | None:
    """Notes below the beam: patience up to a limit, then another chanter."""
    flat = [note for note in _out(balance, notes) if not _sharp(balance.rest_cents[note])]
    if not flat:
        return None
    flat.sort(key=lambda note: balance.rest_cents[note].value)
    for note in flat:
        if note in _SAME_IN_EVERY_SCALE and judge(balance.rest_cents[note], FLAT_LIMIT_CENTS) == "out":
            return acts.set_aside(
                f"The octave is right, but {note} is {amount_of(balance.rest_cents[note])} below the beam. "
                "Tape cannot raise it, and playing rarely brings up so much."
            )
    return acts.break_in(
        flat[0],
        why=(
            f"The octave is right, but {flat[0]} is {amount_of(balance.rest_cents[flat[0]])} below the beam. "
            "Tape cannot raise a note; a new reed often brings it up."
        ),
        doubt=_other_scale(balance, flat[0]),
    )


def _judge_unresolved(balance: Balance, notes: Iterable[str]) -> NextAct | None:
    unsure = [note for note in notes if _verdict(balance, note) == "unresolved"]
    if not unsure:
        return None
    worst = max(unsure, key=lambda note: _sd(balance.rest_cents[note]))
    return acts.measure_again(_unresolved(worst, balance.rest_cents[worst], TOLERANCE_CENTS[worst]))


def _drones(balance: Balance) -> NextAct | None:
    height = balance.height_cents
    verdict = judge(height, HEIGHT_TOLERANCE_CENTS)
    if verdict == "in":
        return None
    if verdict == "unresolved":
        return acts.measure_again(_unresolved("the pitch against the drones", height, HEIGHT_TOLERANCE_CENTS))
    sharp = _sharp(height)
    return acts.move_the_drones(
        "up to the chanter (slides in)" if sharp else "down to the chanter (slides out)",
        why=(
            f"Balanced in itself, the chanter is {amount_of(height)} {'sharp' if sharp else 'flat'} of the "
            "drones. Drones move easily; a reed that is balanced is best left where it is."
        ),
    )


def _why_leave(balance: Balance, against: Against) -> str:
    right = {
        "drones": "The octave, the notes and the drones are within tolerance.",
        "fixed": "The pitch, the octave and the notes are within tolerance.",
        "low-a": (
            "The octave and the notes are within tolerance of its own low A. "
            "Overall pitch was not judged: that needs drones or a pitch to compare with."
        ),
    }[against]
    if _verdict(balance, LOW_G) != "out":
        return right
    low_g = balance.rest_cents[LOW_G]
    side = "above" if _sharp(low_g) else "below"
    return (
        f"{right} Only low G lies {amount_of(low_g)} {side} the beam: it speaks from no finger hole, "
        f"so neither seat nor tape is for it. {_other_scale(balance, LOW_G)}".rstrip()
    )


def _other_scale(balance: Balance, note: str) -> str:
    """A warning where the published scales differ by as much as the note is out."""
    if note in _SAME_IN_EVERY_SCALE or abs(balance.rest_cents[note].value) < FLAT_LIMIT_CENTS:
        return ""
    return f"Make sure that this is the scale you play: published scales differ over {note}."


def _sharp(value: Uncertain) -> bool:
    """Which way it is off: asked of what is out of tolerance, cents away from nought."""
    return value.value > 0


def _sd(value: Uncertain) -> float:
    """How unsure it is, cents; the two As lie on the beam by definition."""
    return value.sd or 0.0


def _verdict(balance: Balance, note: str) -> str:
    return judge(balance.rest_cents[note], TOLERANCE_CENTS[note])


def _out(balance: Balance, notes: Iterable[str]) -> list[str]:
    return [note for note in notes if note not in POSTS and _verdict(balance, note) == "out"]


def _unresolved(what: str, value: Uncertain, tolerance: float) -> str:
    return (
        f"This take cannot tell whether {what} is right: {value.text('cents', signed=True)} "
        f"against a tolerance of {tolerance:g} cents."
    )
