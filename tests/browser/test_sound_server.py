"""A take by way of a real sound server: no false microphone, and resampled on its way."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.sound.files.encode import write_recording
from canebench.sound.files.recording import Recording
from canebench.sound.synth import render
from support.firefox import FIREFOX, NO_FIREFOX, running_firefox
from support.played_take import BUSY_MS, RECIPE, SILENCE_S, cents_off
from support.sound_server import NO_SOUND_SERVER, WIRE_HZ, sound_server_is_here, sounding

if TYPE_CHECKING:
    from pathlib import Path

    from support.running_bench import Bench

#: Left out of the usual run: they cost a minute, and packages that not every machine has.
pytestmark = pytest.mark.usefixtures("engines_asked_for")

AT_WIRE = replace(RECIPE, rate_hz=WIRE_HZ)
#: What is kept may be off what was played by so much: a note wanders by some 2 cents within the time that is
#: compared, and which part of it a take begun at any moment hears is up to that moment.
TOLERANCE_CENTS = 3.0
#: So often the file says the take: longer than any machine is waited for.
TIMES = 30


def test_a_take_through_a_sound_server(bench: Bench, season_copy: Path, tmp_path: Path) -> None:
    if not FIREFOX.exists():
        pytest.skip(NO_FIREFOX)
    if not sound_server_is_here():
        pytest.skip(NO_SOUND_SERVER)
    played = tmp_path / "played.wav"
    write_at_wire(played)
    sound, profile = tmp_path / "sound", tmp_path / "profile"
    sound.mkdir()
    profile.mkdir()
    # The question whether it may listen is answered beforehand; the microphone is the system's.
    allowed = {"media.navigator.permission.disabled": True, "media.navigator.streams.fake": False}
    with sounding(sound, played) as server, running_firefox(profile, allowed, server) as firefox:
        firefox.goto(bench.link)
        firefox.goto(f"{bench.address}/microphone")
        firefox.press("button", "Check")
        firefox.until_says("microphone-check", "48000 Hz")
        firefox.press("button", "End")
        firefox.goto(f"{bench.address}/")
        firefox.fill("Reed needed", "77")
        firefox.fill("Chanter needed", "the old one")
        firefox.press("button", "Begin the fitting")
        firefox.press("input[type=radio]", "A firm hand seat")
        firefox.press("button", "Listen")
        firefox.until_says("live-take", "Level good", within_s=BUSY_MS / 1_000)
        firefox.until_says("live-take [data-place=time]", "10 s", within_s=BUSY_MS / 1_000)
        firefox.press("button", "Stop and measure")
        firefox.find("#act-say")
        assert firefox.complaints() == []
    off = cents_off(season_copy, AT_WIRE)
    assert max(map(abs, off.values())) <= TOLERANCE_CENTS, off
    # The control: of a chanter 8 cents away the same take is not true.
    other = replace(AT_WIRE, low_a_hz=AT_WIRE.low_a_hz * 2 ** (8 / 1_200))
    assert min(map(abs, cents_off(season_copy, other).values())) > TOLERANCE_CENTS


def write_at_wire(path: Path) -> None:
    """The take over and over, with a moment between, at the rate of the wire."""
    take = render(AT_WIRE)[0]
    silence = np.zeros(round(SILENCE_S * take.rate_hz), dtype=take.samples.dtype)
    looped = np.tile(np.append(take.samples, silence), TIMES)
    write_recording(Recording(samples=looped, rate_hz=take.rate_hz, origin=take.origin), path, bit_depth=16)
