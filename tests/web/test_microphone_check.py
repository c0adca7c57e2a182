"""The check of a microphone says in words what is wrong, and nothing where nothing is."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from canebench.base.scales import DEFAULT_SCALE
from canebench.bench.views.live.check_microphone import CHECK_S, MicrophoneCheck
from canebench.sound.live.estimator import LiveListener
from support.tones import tone
from support.web_client import SOCKETS

if TYPE_CHECKING:
    from starlette.testclient import TestClient

    from canebench.base.arrays import FloatArray

RATE_HZ = 48_000


def checked(samples: FloatArray, *, tone_hz: float | None = None, skip: int = 0) -> dict[str, Any]:
    """What is said at the end of the samples, of which `skip` frames are missing after three seconds."""
    check = MicrophoneCheck(rate_hz=RATE_HZ, tone_hz=tone_hz)
    listener = LiveListener(rate_hz=RATE_HZ, scale=DEFAULT_SCALE)
    said: dict[str, Any] = {}
    for start in range(0, len(samples), 4_800):
        first = start + (skip if start >= 3 * RATE_HZ else 0)
        check.add(samples[start : start + 4_800], first_frame=first)
        listener.add(samples[start : start + 4_800], first_frame=first)
        said = check.said(listener.estimate())
    return said


def quiet_then(hz: float, amplitude: float) -> FloatArray:
    """A second of a quiet room, then a tone in it."""
    sound = np.asarray(tone(hz, RATE_HZ, duration_s=5.0, amplitude=amplitude), dtype=np.float64)
    sound[:RATE_HZ] = 0.0
    return sound + 1e-4 * np.random.default_rng(1).normal(size=len(sound))


def test_where_all_is_well_nothing_is_wrong() -> None:
    said = checked(quiet_then(440.0, 0.2), tone_hz=440.0)
    assert said["wrong"] == []
    assert said["clipped"] == "none"
    assert said["clock"].startswith("the tone reads ")
    assert said["clock"].endswith(" cents from 440.00 Hz")


@pytest.mark.parametrize(
    ("samples", "tone_hz", "words"),
    [
        (np.zeros(5 * RATE_HZ), None, "Nothing comes in at all"),
        (quiet_then(440.0, 0.001), None, "too quiet"),
        (np.clip(quiet_then(440.0, 1.6), -1, 1), None, "Tops are cut off"),
        (
            quiet_then(440.0, 0.2) + 0.02 * np.random.default_rng(2).normal(size=5 * RATE_HZ),
            None,
            "never quiet",
        ),
        (quiet_then(440.2, 0.2), 440.0, "sound card's clock is off"),
    ],
)
def test_what_is_wrong_is_said_in_words(samples: FloatArray, tone_hz: float | None, words: str) -> None:
    assert words in " ".join(checked(samples, tone_hz=tone_hz)["wrong"])


def test_sound_lost_on_the_way_is_said() -> None:
    """The control is the same sound without a gap, which has nothing wrong in it."""
    samples = quiet_then(440.0, 0.2)
    assert checked(samples)["wrong"] == []
    assert checked(samples, skip=4_800)["wrong"] == ["Sound is lost on the way: close other programs."]


def test_it_is_said_within_five_seconds_and_not_before_it_is_known() -> None:
    assert CHECK_S < 5.0
    assert checked(quiet_then(440.0, 0.2)[: 4 * RATE_HZ])["wrong"] is None


def test_over_the_socket(client: TestClient) -> None:
    with client.websocket_connect(f"{SOCKETS}/live?rate=48000&check=yes&tone=abc") as socket:
        assert "tone of known pitch" in json.loads(socket.receive_text())["wrong"]
    with client.websocket_connect(f"{SOCKETS}/live?rate=48000&check=yes&tone=440") as socket:
        socket.send_bytes(b"cnb1" + bytes(12) + np.zeros(2_048, dtype="<f4").tobytes())
        told = json.loads(socket.receive_text())
        assert told["check"]["clock"] == "no steady tone of 440.00 Hz is heard"
