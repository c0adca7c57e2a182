"""Recipes of takes as they were written down, read again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from canebench.base.scales import scale_named
from canebench.sound.synth import DronePlan, PipeBehaviour, PlannedNote, Recipe, SourceBehaviour

if TYPE_CHECKING:
    from collections.abc import Mapping


def recipe_from(written: Mapping[str, Any]) -> Recipe:
    """The recipe in a truth that was written beside a take; it renders the same samples again.

    A truth from before pipes had a behaviour names none, and had none.
    """
    drones, behaviour = written["drones"], written.get("behaviour")
    parts = {
        "scale": scale_named(written["scale"]),
        "notes": tuple(PlannedNote(**note) for note in written["notes"]),
        "drones": drones and DronePlan(**{**drones, "tenor_cents": tuple(drones["tenor_cents"])}),
        "behaviour": behaviour and _behaviour_from(behaviour),
    }
    return Recipe(**{**written, **parts})


def _behaviour_from(written: Mapping[str, Any]) -> PipeBehaviour:
    parts = {
        "chanter": SourceBehaviour(**written["chanter"]),
        "drones": tuple(SourceBehaviour(**drone) for drone in written["drones"]),
    }
    return PipeBehaviour(**{**written, **parts})
