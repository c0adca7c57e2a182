"""What the chanter fingers when. Guarded by `tests/analytic/test_synth.py`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.base.units import cents_to_hz
from canebench.sound.synth.truth import Event

if TYPE_CHECKING:
    import numpy as np

    from canebench.sound.synth.recipe import Recipe

_GRACE_S = (0.03, 0.06)
_GRACE_NOTES = ("high G", "D", "E")
#: How long a bag takes to empty when it is cut off.
CUT_OFF_S: Final = 0.5


def score(recipe: Recipe, rng: np.random.Generator) -> tuple[list[Event], list[float]]:
    """Events in time order and the frequency each holds (Hz; a pause holds the note before it)."""
    offsets = {plan.note: plan.offset_cents for plan in recipe.notes}
    now, events, holds = recipe.lead_s, [], []
    if recipe.lead_s > 0:
        events.append(Event(note=None, start_s=0.0, end_s=recipe.lead_s))
        holds.append(_note_hz(recipe, recipe.notes[0].note, recipe.notes[0].offset_cents))
    for index, plan in enumerate(recipe.notes):
        steps = [(plan.note, plan.duration_s, plan.offset_cents, False)]
        if recipe.graces and index:
            grace = str(rng.choice(_graces(recipe, index)))
            steps.insert(0, (grace, float(rng.uniform(*_GRACE_S)), offsets.get(grace, 0.0), True))
        for note, duration, offset, is_grace in steps:
            events.append(Event(note=note, start_s=now, end_s=now + duration, grace=is_grace))
            holds.append(_note_hz(recipe, note, offset))
            now += duration
        if recipe.pause_s > 0:
            events.append(Event(note=None, start_s=now, end_s=now + recipe.pause_s))
            holds.append(holds[-1])
            now += recipe.pause_s
    if recipe.behaviour is not None and recipe.behaviour.cuts_off:
        # The last note dies in it, at no pitch of its own: it is held no more.
        events.append(Event(note=None, start_s=now, end_s=now + CUT_OFF_S))
        holds.append(holds[-1])
    return events, holds


def sounding(recipe: Recipe, events: list[Event]) -> int:
    """Samples in which the chanter holds a note."""
    return round(recipe.rate_hz * sum(event.end_s - event.start_s for event in events if event.note))


def _graces(recipe: Recipe, index: int) -> list[str]:
    """Grace notes that can be told from the note they lead to; on pipes also from the one they leave."""
    beside = {recipe.notes[index].note}
    if recipe.behaviour is not None and recipe.pause_s == 0:
        beside.add(recipe.notes[index - 1].note)
    return [name for name in _GRACE_NOTES if name not in beside]


def _note_hz(recipe: Recipe, note: str, offset_cents: float) -> float:
    return recipe.low_a_hz * recipe.scale.ratios[note] * cents_to_hz(offset_cents, 1.0)
