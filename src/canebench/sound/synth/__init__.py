"""Takes with known truth: chanter, drones, room and noise, rendered from a recipe and a seed.

A recipe without a behaviour renders the textbook's steady tones; with one, pipes: under one bag they waver,
drift and swell, each note has a timbre of its own, and partials creep. Guarded by
`tests/analytic/test_synth.py`, `tests/analytic/test_pipe_behaviour.py` and
`tests/frozen/test_textbook_takes.py`.
"""

from canebench.sound.synth.behaviour import (
    DEGREES,
    USUAL,
    PipeBehaviour,
    SourceBehaviour,
    behaviour_drawn,
    behaviour_for,
    still,
)
from canebench.sound.synth.playing.tunes import TUNES, tune, tune_notes
from canebench.sound.synth.recipe import (
    DronePlan,
    PlannedNote,
    Recipe,
    drones_as_tuned,
    from_strike_to_cut,
    scale_notes,
)
from canebench.sound.synth.render import render
from canebench.sound.synth.truth import Event, Truth

__all__ = [
    "DEGREES",
    "TUNES",
    "USUAL",
    "DronePlan",
    "Event",
    "PipeBehaviour",
    "PlannedNote",
    "Recipe",
    "SourceBehaviour",
    "Truth",
    "behaviour_drawn",
    "behaviour_for",
    "drones_as_tuned",
    "from_strike_to_cut",
    "render",
    "scale_notes",
    "still",
    "tune",
    "tune_notes",
]
