"""The stream of a microphone: kept bit for bit, gaps told, and measured at the end as a file is."""

from __future__ import annotations

import json
import struct
import time
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from starlette.websockets import WebSocketDisconnect

from canebench.base.finding import Finding
from canebench.base.notes import NOTES
from canebench.base.units import hz_to_cents
from canebench.bench.acts.fitting.measure_take import measure_take
from canebench.bench.views.live.listen import now_object
from canebench.bench.views.verdict import still_missing
from canebench.sound.dsp.loudness import Loudness
from canebench.sound.files.decode import read_recording
from canebench.sound.files.encode import write_recording
from canebench.sound.files.recording import Recording
from canebench.sound.live.estimator import Now
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from canebench.store.records import PitchRecord, TakeRecord
from canebench.web.live import streams
from canebench.web.live.streams import HEADER, MARK
from canebench.web.routes import live as live_route
from support.tones import tone
from support.web_client import SOCKETS

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.applications import Starlette
    from starlette.testclient import TestClient

    from canebench.base.arrays import FloatArray
    from canebench.web.live.recordings import Unfinished

RATE_HZ = 48_000
BLOCK = 2_048


def frames(samples: FloatArray, *, skip: tuple[int, int] | None = None) -> list[bytes]:
    """The samples as the page sends them; `skip` leaves out the frames between two samples."""
    found = []
    for start in range(0, len(samples), BLOCK):
        if skip is not None and skip[0] <= start < skip[1]:
            continue
        found.append(HEADER.pack(MARK, 0, start) + samples[start : start + BLOCK].astype("<f4").tobytes())
    return found


def left(app: Starlette, count: int) -> list[Unfinished]:
    """The recordings that are left: so many, in a while, since the disk is written apart from the socket."""
    recordings, until = app.state.context.recordings, time.monotonic() + 60
    while len(found := recordings.unfinished()) != count and time.monotonic() < until:
        time.sleep(0.02)
    assert len(found) == count
    return list(found)


def streamed(client: TestClient, sent: list[bytes], query: str = "rate=48000") -> list[dict[str, Any]]:
    """Send everything, stop, and all that the bench said."""
    told = []
    with client.websocket_connect(f"{SOCKETS}/live?{query}") as socket:
        for frame in sent:
            socket.send_bytes(frame)
        socket.send_text('{"stop":true}')
        while True:
            message = json.loads(socket.receive_text())
            told.append(message)
            assert "blind" not in message
            if "recording" in message or "wrong" in message:
                return told


def test_what_is_sent_is_kept_bit_for_bit(client: TestClient, app: Starlette) -> None:
    samples = np.random.default_rng(1).normal(0, 0.1, 3 * RATE_HZ).astype("<f4")
    end = streamed(client, frames(samples))[-1]
    assert end["recorded"] == 3.0
    kept = read_recording(app.state.context.recordings.finished(end["recording"]))
    assert kept.rate_hz == RATE_HZ
    assert np.array_equal(kept.samples, samples)


def test_what_is_done_to_the_sound_is_told_while_it_plays() -> None:
    loudness = Loudness(level_db=-20.0, peak_db=-10.0, quietest_db=None, clipped=0)
    remark = Finding(code="non-linear", text="Something presses the tops flat.")
    for remarks, said in (((), []), ((remark,), [remark.text])):
        now = Now(at_s=3.0, sounding=None, loudness=loudness, breaks=0, lost_s=0.0, remarks=remarks)
        assert now_object(now)["remarks"] == said


@pytest.mark.parametrize(
    ("played", "said"),
    [
        ((), f"Still missing: {', '.join(NOTES)}."),
        (("high A", "low A"), "Still missing: low G, B, C, D, E, F, high G."),
        (NOTES, "All nine are heard: stop and measure."),
    ],
)
def test_the_notes_still_missing_are_named(played: tuple[str, ...], said: str) -> None:
    assert still_missing(played) == said


def test_a_gap_is_told_and_stands_as_silence(client: TestClient, app: Starlette) -> None:
    samples = np.asarray(tone(480.0, RATE_HZ, duration_s=4.0), dtype=np.float64)
    told = streamed(client, frames(samples, skip=(2 * RATE_HZ, 2 * RATE_HZ + 8_000)))
    assert told[-1]["breaks"] == 1
    assert "1 gap, " in told[-1]["breaksSaid"]
    kept = read_recording(app.state.context.recordings.finished(told[-1]["recording"]))
    quiet = np.flatnonzero(np.asarray(kept.samples) == 0.0)
    assert len(quiet) >= 0.4 * RATE_HZ


def test_the_take_gives_the_numbers_of_the_command(
    client: TestClient, app: Starlette, tmp_path: Path
) -> None:
    recipe = Recipe(
        low_a_hz=476.0,
        notes=scale_notes("low A", "E", "high A", duration_s=1.5),
        seed=6_001,
        drones=DronePlan(tenor_cents=(1.0, -1.0)),
        snr_db=30.0,
    )
    recording, _ = render(recipe)
    sent = frames(np.asarray(recording.samples, dtype=np.float64))
    end = streamed(client, sent)[-1]
    place = client.post("/fit", data={"reed": "88", "chanter": "x"}).url.path
    answer = client.post(
        f"{place}/take", data={"how": "recording", "since": "nothing", "recording": end["recording"]}
    )
    assert answer.status_code == 200, answer.text
    path = tmp_path / "take.wav"
    write_recording(
        Recording(samples=recording.samples, rate_hz=recording.rate_hz, origin="take"), path, bit_depth=24
    )
    expected = {note.note: note.hz for note in measure_take(path).measurement.notes}
    with app.state.context.ledger.reading() as reader:
        take = reader.rows(TakeRecord, order="-id", limit=1)[0]
        kept = {row.note: row.hz for row in reader.rows(PitchRecord, {"take_id": take.id})}
    assert kept.keys() == expected.keys()
    for note, hz in expected.items():
        assert abs(hz_to_cents(kept[note], hz)) <= 0.05, note
    left(app, 0)


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("rate=abc", "sample rate"),
        ("rate=7", "sample rate"),
        ("rate=48000&reference=x", "reference"),
        ("", "rate"),
    ],
)
def test_a_stream_that_cannot_be_is_told_why(client: TestClient, query: str, said: str) -> None:
    with client.websocket_connect(f"{SOCKETS}/live?{query}") as socket:
        assert said in json.loads(socket.receive_text())["wrong"]
        with pytest.raises(WebSocketDisconnect):
            socket.receive_text()


@pytest.mark.parametrize(
    "frame",
    [
        b"",
        b"x" * 15,
        HEADER.pack(b"nope", 0, 0) + bytes(8),
        HEADER.pack(MARK, 0, 0) + bytes(7),
        bytes(70_000),
    ],
)
def test_a_frame_that_is_none_ends_the_stream_with_a_sentence(client: TestClient, frame: bytes) -> None:
    good = frames(np.asarray(tone(480.0, RATE_HZ, duration_s=0.5), dtype=np.float64))
    with client.websocket_connect(f"{SOCKETS}/live?rate=48000") as socket:
        for one in [*good, frame]:
            socket.send_bytes(one)
        while True:
            told = json.loads(socket.receive_text())
            if "wrong" in told:
                assert "frame" in told["wrong"]
                return


def test_numbers_that_are_none_do_no_harm(client: TestClient, app: Starlette) -> None:
    bad = struct.pack("<4f", float("nan"), float("inf"), -float("inf"), 0.25)
    end = streamed(client, [HEADER.pack(MARK, 0, 0) + bad * 512])[-1]
    kept = read_recording(app.state.context.recordings.finished(end["recording"]))
    assert np.isfinite(kept.samples).all()


def test_a_page_that_goes_away_leaves_its_recording(client: TestClient, app: Starlette) -> None:
    samples = np.asarray(tone(480.0, RATE_HZ, duration_s=1.0), dtype=np.float64)
    with client.websocket_connect(f"{SOCKETS}/live?rate=48000") as socket:
        for frame in frames(samples):
            socket.send_bytes(frame)
        while json.loads(socket.receive_text())["seconds"] < 0.9:
            pass
    until = time.monotonic() + 60
    while left(app, 1)[0].duration_s < 0.9 and time.monotonic() < until:
        time.sleep(0.02)
    (kept,) = left(app, 1)
    assert kept.duration_s == pytest.approx(1.0, abs=0.1)
    client.post(f"/recordings/{kept.name}/remove", data={"back": "/"})
    left(app, 0)


def test_what_is_thrown_away_is_gone(client: TestClient, app: Starlette) -> None:
    with client.websocket_connect(f"{SOCKETS}/live?rate=48000") as socket:
        socket.send_bytes(frames(np.zeros(BLOCK))[0])
        socket.send_text('{"away":true}')
        while json.loads(socket.receive_text()) != {"away": True}:
            pass
        with pytest.raises(WebSocketDisconnect):
            socket.receive_text()
    left(app, 0)


def test_a_full_take_ends_by_itself_and_is_kept(
    client: TestClient, app: Starlette, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(streams, "MOST_S", 1.0)
    samples = np.asarray(tone(480.0, RATE_HZ, duration_s=1.0), dtype=np.float64)
    with client.websocket_connect(f"{SOCKETS}/live?rate=48000") as socket:
        for frame in frames(samples):
            socket.send_bytes(frame)
        told: dict[str, Any] = {}
        while "recording" not in told:
            # The recording is on the disk a moment after it was sent.
            time.sleep(0.02)
            socket.send_bytes(HEADER.pack(MARK, 0, len(samples)) + bytes(4))
            told = json.loads(socket.receive_text())
    assert told["full"]
    assert app.state.context.recordings.finished(told["recording"]).is_file()


def test_a_check_leaves_nothing(client: TestClient, app: Starlette) -> None:
    with client.websocket_connect(f"{SOCKETS}/live?rate=48000&check=yes") as socket:
        socket.send_bytes(frames(np.zeros(BLOCK))[0])
        socket.receive_text()
    left(app, 0)


def test_counters_that_leap_make_no_file_larger_than_what_was_sent(
    client: TestClient, app: Starlette
) -> None:
    """400 frames of seven samples, each a minute after the last; control: one gap of a second stands."""
    block = bytes(7 * 4)
    with client.websocket_connect(f"{SOCKETS}/live?rate=48000") as socket:
        for number in range(400):
            socket.send_bytes(HEADER.pack(MARK, 0, 60 * number * RATE_HZ % (1_700 * RATE_HZ)) + block)
        socket.send_text('{"stop":true}')
        while "wrong" not in (told := json.loads(socket.receive_text())):
            pass
    assert "did not come through" in told["wrong"]
    (kept,) = left(app, 1)
    assert kept.duration_s < 61
    end = streamed(client, [HEADER.pack(MARK, 0, 0) + block, HEADER.pack(MARK, 0, RATE_HZ) + block])[-1]
    assert end["breaks"] == 1
    assert end["recorded"] == pytest.approx(1.0, abs=0.05)


def test_a_socket_that_sends_nothing_leaves_nothing(client: TestClient, app: Starlette) -> None:
    with client.websocket_connect(f"{SOCKETS}/live?rate=48000"):
        pass
    left(app, 0)


def test_no_more_streams_than_can_be_listened_to(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live_route, "_MOST_STREAMS", 1)
    with client.websocket_connect(f"{SOCKETS}/live?rate=48000") as first:
        first.send_bytes(frames(np.zeros(BLOCK))[0])
        first.receive_text()
        with client.websocket_connect(f"{SOCKETS}/live?rate=48000") as second:
            assert "end another first" in json.loads(second.receive_text())["wrong"]
    assert "recording" in streamed(client, frames(np.zeros(BLOCK)))[-1]
