"""Measure a take: from a sound file to the one next act."""

from __future__ import annotations

from importlib.resources import as_file, files
from typing import TYPE_CHECKING, Literal

from canebench.base.scales import DEFAULT_SCALE, Scale
from canebench.bench.acts.fitting.report import TakeReport, report_on
from canebench.sound.analysis.measure import measure
from canebench.sound.files.decode import read_recording

if TYPE_CHECKING:
    from pathlib import Path

#: The bundled take; beside it lies the recipe that it was rendered from.
DEMO_FILE = "first-light.ogg"
DEMO_TITLE = "Reed 7 of the spring lot in chanter 3"


def measure_take(
    path: Path,
    *,
    scale: Scale = DEFAULT_SCALE,
    reference: Literal["auto", "drones", "low-a"] | float = "auto",
    low_a_near_hz: float | None = None,
) -> TakeReport:
    """Measure the take in the sound file `path`.

    Parameters
    ----------
    path : Path
        Any file that `canebench.sound.files.decode.read_recording` reads.
    scale : Scale
        The target scale.
    reference : "auto", "drones", "low-a" or a number of hertz
        What cents are counted from: the drones where they sound and else low A ("auto"), one of these
        two, or a fixed pitch of low A, Hz.
    low_a_near_hz : number or None
        Roughly where low A is, Hz, for a chanter far from today's usual pitch.

    Guarded by `tests/doors/test_measure_command.py`.
    """
    recording = read_recording(path)
    return report_on(measure(recording, scale=scale, reference=reference, low_a_near_hz=low_a_near_hz))


def measure_demo(
    *,
    scale: Scale = DEFAULT_SCALE,
    reference: Literal["auto", "drones", "low-a"] | float = "auto",
    low_a_near_hz: float | None = None,
) -> TakeReport:
    """`measure_take` for the bundled take: invented, rendered by this package, with known truth."""
    with as_file(files("canebench") / "demo" / DEMO_FILE) as path:
        return measure_take(path, scale=scale, reference=reference, low_a_near_hz=low_a_near_hz)
