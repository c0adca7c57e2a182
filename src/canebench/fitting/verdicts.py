"""What is said where nothing is changed though notes are out: what is left, and what mending it would cost.

Guarded by `tests/practice/test_what_is_left.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.base.notes import LOW_G, NOTES
from canebench.base.sentences import listed
from canebench.base.uncertain import number
from canebench.fitting import acts
from canebench.fitting.tolerance import chances_beyond

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from canebench.fitting.acts import NextAct
    from canebench.fitting.balance import Deviation

#: It comes out of no hole.
NO_REASON: Final = (LOW_G,)
NOTHING_GAINED: Final = (
    "What is still off is no more than one breath, and one pair of hands, differ from the next: another act "
    "would as likely spoil it as mend it. Play it, and measure after the next session."
)


def notes_off(beam: Mapping[str, Deviation], tolerance_cents: Mapping[str, float], chance: float) -> set[str]:
    """Notes that are out of tolerance with this chance at least.

    Parameters
    ----------
    beam : mapping of note to Deviation
        The notes to look at.
    tolerance_cents : mapping of note to number
        How far off each may be, cents > 0.
    chance : number, 0 to 1
        How sure it must be.

    Returns
    -------
    set of notes
        Never low G.
    """
    return {
        note
        for note, one in beam.items()
        if note not in NO_REASON
        and max(chances_beyond(one.cents, one.sd_cents, tolerance_cents[note])) > chance
    }


def named(notes: Collection[str], beam: Mapping[str, Deviation]) -> str:
    """Each note with its cents, from the bottom up.

    Parameters
    ----------
    notes : collection of notes
        Which to name.
    beam : mapping of note to Deviation
        Their cents.

    Returns
    -------
    str
        As "B −7 cents and D −8 cents".
    """
    return listed(
        [f"{note} {number(beam[note].cents, 0, signed=True)} cents" for note in NOTES if note in notes]
    )


def what_is_left(
    off: Collection[str],
    beam: Mapping[str, Deviation],
    *,
    moved: tuple[float, Mapping[str, Deviation]] | None,
    tolerance_cents: Mapping[str, float],
) -> NextAct:
    """The verdict where notes are surely out, and no act that the rules allow gains what it costs.

    Parameters
    ----------
    off : collection of notes
        Those that are surely out by all takes; none where only the newest has them so.
    beam : mapping of note to Deviation
        What is believed of the notes now.
    moved : (mm, mapping of note to Deviation) or None
        The best that the seat alone could do, mm deeper, and what is expected then; None where it must or can
        not be moved.
    tolerance_cents : mapping of note to number
        How far off each may be, cents > 0.

    Returns
    -------
    NextAct
        Flat notes are played in, others left.
    """
    if not off:
        return acts.leave(NOTHING_GAINED)
    out = f"Out of tune by all takes: {named(off, beam)}. {_cost(off, beam, moved, tolerance_cents)}"
    if all(beam[note].cents < 0 for note in off):
        flattest = min(off, key=lambda note: beam[note].cents)
        return acts.break_in(flattest, why=f"{out} A new reed often brings a flat note up.")
    return acts.leave(f"{out} Play it, and measure after the next session.")


def _cost(
    off: Collection[str],
    beam: Mapping[str, Deviation],
    moved: tuple[float, Mapping[str, Deviation]] | None,
    tolerance: Mapping[str, float],
) -> str:
    nothing = "No move of the seat and no strip within these limits makes the whole better."
    if moved is None:
        return nothing
    deeper_mm, after = moved
    worse = [
        note
        for note in beam
        if note not in {*NO_REASON, *off}
        and abs(after[note].cents) > tolerance[note]
        and abs(after[note].cents) > abs(beam[note].cents)
    ]
    if not worse:
        return nothing
    way = f"{abs(deeper_mm):g} mm {'deeper' if deeper_mm > 0 else 'higher'}"
    return f"A seat {way} would leave {named(off, after)}, and put {named(worse, after)}: nothing gained."
