"""Render a take with known truth: the sound file, and beside it what was rendered."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from canebench.base.errors import InputError
from canebench.base.whole_file import written_with
from canebench.sound.files.encode import write_recording
from canebench.sound.synth import Recipe, Truth, render

if TYPE_CHECKING:
    from pathlib import Path

SCHEMA: Final = "canebench.truth/1"
#: Fingers and the smoothing of their moves are over by then, so that the mean is of the held note.
_EDGE_S: Final = 0.02
_DIGITS: Final = 6


def render_take(recipe: Recipe, path: Path) -> Path:
    """Render `recipe` into the sound file `path`; returns where its truth was written.

    The truth lies beside the sound as `<name>.json`: the recipe, what was fingered when, and the true
    mean frequencies in Hz. Guarded by `tests/doors/test_synth_command.py`.
    """
    beside = path.with_suffix(".json")
    if beside == path:
        raise InputError(
            field="take",
            given=path.name,
            allowed="a sound file's ending is needed",
            nearest=f"{path.stem}.wav",
        )
    recording, truth = render(recipe)
    told = json.dumps(truth_object(recipe, truth), indent=1) + "\n"
    with written_with(beside, told.encode(), field="truth"):
        write_recording(recording, path)
    return beside


def _settled_s(recipe: Recipe, truth: Truth) -> tuple[float, float]:
    """The take, less what is not the drones' pitch: their striking in and the emptying of the bag."""
    held = [event for event in truth.events if event.note]
    behaviour = recipe.behaviour
    starts_s = held[0].start_s if behaviour and behaviour.strikes_in else truth.events[0].start_s
    ends_s = held[-1].end_s if behaviour and behaviour.cuts_off else truth.events[-1].end_s
    return starts_s, ends_s


def truth_object(recipe: Recipe, truth: Truth) -> dict[str, Any]:
    """The truth as plain JSON values."""
    held = [event for event in truth.events if event.note and not event.grace]
    span = _settled_s(recipe, truth)
    return {
        "schema": SCHEMA,
        "invented": True,
        "recipe": {**asdict(recipe), "scale": recipe.scale.name},
        "events": [asdict(event) for event in truth.events],
        "notes": [
            {
                "note": event.note,
                "hz": round(truth.chanter_hz(event.start_s + _EDGE_S, event.end_s - _EDGE_S), _DIGITS),
            }
            for event in held
            if event.end_s - event.start_s > 3 * _EDGE_S
        ],
        "drones": [
            {"drone": name, "hz": round(truth.drone_hz(name, *span), _DIGITS)} for name in truth.drone_cycles
        ],
    }
