"""Chanters on the bench, their takes made by hand or rendered as sound: doors measure what they play."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from canebench.base.finding import Finding
from canebench.base.notes import LOW_A, NOTES
from canebench.base.scales import DEFAULT_SCALE
from canebench.base.setting import Setting
from canebench.sound.files.encode import write_recording
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from doors.made_takes import made_measurement
from doors.run import run
from doors.schema_check import faults
from support.gentle_chanters import gentle_chanter
from support.true_chanters import true_chanter

if TYPE_CHECKING:
    from canebench.sound.analysis.readings import Measurement
    from canebench.sound.files.recording import Recording
    from support.true_chanters import TrueChanter

Json = dict[str, Any]

DOCS = Path(__file__).parents[2] / "docs"
_SEED = 7312
_WILD_SEED = 7201


def chanter() -> TrueChanter:
    """The one on the bench, a little out of tune: its plan has a seat to move and holes to tape."""
    return gentle_chanter(_SEED)


def _off_the_scale(true: TrueChanter, setting: Setting) -> tuple[float, dict[str, float]]:
    """Low A, Hz, and how far the notes are from the scale on it, cents."""
    hz = true.hz([setting])[0]
    low_a_hz = float(hz[NOTES.index(LOW_A)])
    return low_a_hz, {
        note: float(1200 * np.log2(hz[i] / (low_a_hz * DEFAULT_SCALE.ratios[note])))
        for i, note in enumerate(NOTES)
    }


@cache
def take_of(seat_mm: float, tape: tuple[tuple[str, float], ...], pinches: int, *, drones: bool) -> Recording:
    """A slow scale on it; each setting is rendered once in a session."""
    setting = Setting(seat_mm=seat_mm, tape_mm=dict(tape), pinches=pinches)
    low_a_hz, offsets = _off_the_scale(chanter(), setting)
    recipe = Recipe(
        low_a_hz=low_a_hz,
        seed=1,
        notes=scale_notes(duration_s=1.5, offsets_cents=offsets),
        drones=DronePlan(level_db=-6.0) if drones else None,
        rate_hz=24_000.0,
    )
    return render(recipe)[0]


class Bench:
    """A chanter on the bench: what it plays in a setting is what a measurement put in its place hears."""

    def __init__(self, folder: Path) -> None:
        self.true: TrueChanter = true_chanter(np.random.default_rng(_WILD_SEED))
        self.setting, self.findings = Setting(), tuple[Finding, ...]()
        self.take, self.fitting = str(folder / "take.wav"), str(folder / "reed.json")

    def measurement(self) -> Measurement:
        """A take of it as it is set now."""
        low_a_hz, cents = _off_the_scale(self.true, self.setting)
        return made_measurement(cents, reference_hz=low_a_hz, sd_hz=0.01, findings=self.findings)


class SoundBench:
    """The chanter, the file its take lies in, and the fitting's file beside it."""

    def __init__(self, folder: Path) -> None:
        self.take, self.fitting = str(folder / "take.wav"), str(folder / "reed.json")
        self.play(Setting())

    def play(self, setting: Setting, *, drones: bool = False) -> None:
        """Record it as it is set now."""
        tape = tuple(sorted(setting.tape_mm.items()))
        recording = take_of(setting.seat_mm, tape, setting.pinches, drones=drones)
        write_recording(recording, Path(self.take))

    def play_nothing(self) -> None:
        """Record a room in which nobody plays."""
        recording, _ = render(Recipe(low_a_hz=478.0, seed=1, notes=scale_notes(LOW_A, duration_s=0.2)))
        write_recording(recording, Path(self.take))

    def kept(self) -> bytes | None:
        """What the fitting's file holds; None where there is none."""
        path = Path(self.fitting)
        return path.read_bytes() if path.exists() else None


def given(*arguments: str) -> Json:
    """What a command prints under `--json`."""
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    found: Json = json.loads(result.stdout)
    return found


def setting_in(written: Json) -> Setting:
    """A setting from its written form."""
    return Setting(seat_mm=written["seat_mm"], tape_mm=written["tape_mm"], pinches=written["pinches"])


def misfits(value: Any, name: str) -> list[str]:
    """What in a written value does not fit the schema of that name."""
    schema = json.loads((DOCS / f"{name}.schema.json").read_text("utf-8"))
    return faults(value, schema)
