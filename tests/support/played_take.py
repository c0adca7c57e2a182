"""The take that browsers hear: rendered, then played into their microphone over and over."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.units import hz_to_cents
from canebench.sound.files.encode import write_recording
from canebench.sound.files.recording import Recording
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from canebench.store.ledger import open_ledger
from canebench.store.records import PitchRecord, TakeRecord

if TYPE_CHECKING:
    from pathlib import Path

PLAYED = ("low A", "C", "high A", "low A", "E", "high A")
RECIPE = Recipe(
    low_a_hz=474.0,
    # Both As in most analyses of three seconds: where those come seldom, the beam comes all the same.
    notes=scale_notes(*PLAYED, duration_s=1.2, offsets_cents={"high A": -14.0, "C": 6.0}),
    seed=5_001,
    drones=DronePlan(tenor_cents=(1.0, -1.0), wander_cents=0.3),
    wander_cents=2.0,
    snr_db=30.0,
    lead_s=0.8,
)
#: Between the end of the take and its beginning, s: what comes after is not joined to what came before.
SILENCE_S = 0.5
#: A machine that is busy elsewhere gives analyses, which give way to all else, a hundredth of itself.
BUSY_MS = 240_000
#: A microphone that plays a file, and is allowed without a question.
FAKE: Final = ("--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream")


def cents_off(folder: Path, recipe: Recipe) -> dict[str, float]:
    """By how many cents each note of the newest take that a ledger's folder has is off what was played."""
    truth, at, played_hz = render(recipe)[1], recipe.lead_s, defaultdict[str, list[float]](list)
    for planned in recipe.notes:
        played_hz[planned.note].append(truth.chanter_hz(at + 0.3, at + planned.duration_s - 0.2))
        at += planned.duration_s
    with open_ledger(str(folder / "ledger.db")).reading() as reader:
        take = reader.rows(TakeRecord, order="-at", limit=1)[0]
        kept = {row.note: row.hz for row in reader.rows(PitchRecord, {"take_id": take.id})}
    assert set(kept) == set(played_hz)
    return {note: hz_to_cents(hz, float(np.mean(played_hz[note]))) for note, hz in kept.items()}


def write_played(path: Path) -> None:
    """The take as the fake microphone reads it: 16 bits, since it takes 24 for silence."""
    take = render(RECIPE)[0]
    silence = np.zeros(round(SILENCE_S * take.rate_hz), dtype=take.samples.dtype)
    looped = Recording(samples=np.append(take.samples, silence), rate_hz=take.rate_hz, origin=take.origin)
    write_recording(looped, path, bit_depth=16)
