"""What the decoder holds at its edges: limits that are included, lengths declared or not, times of damage."""

from __future__ import annotations

import io
import json
import signal
import tempfile
from dataclasses import replace
from struct import pack
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import av
import numpy as np
import pytest

from canebench.base.errors import DecodeError, InputError
from canebench.sound.files import decode as parent
from canebench.sound.files.decode import (
    MAX_CHANNELS,
    MAX_SAMPLE,
    child_limits,
    decode_file,
    read_bytes,
    read_recording,
    recording_from,
)
from canebench.sound.files.decode_track import Refusal, _check_frame, _Spool, decode
from canebench.sound.files.recording import RATE_RANGE_HZ
from support.lies import wav
from support.soundfiles import KINDS, encoded, tone_file

if TYPE_CHECKING:
    from pathlib import Path

PCM = bytes(9_600)
FLAC = tone_file("flac", rate_hz=48_000, duration_s=3.0)


def _decoded(data: bytes, **limits: object) -> tuple[dict[str, Any], np.ndarray]:
    """Facts and samples, here and not in a process of its own."""
    out = io.BytesIO()
    told = json.loads(child_limits(10.0)) | limits
    facts: dict[str, Any] = decode(io.BytesIO(data), out.write, told)
    return facts, np.frombuffer(out.getvalue(), "<f4")


def _refused(data: bytes, **limits: object) -> str:
    facts, _ = _decoded(data, **limits)
    return str(facts["refused"]["given"])


# What the decoder is allowed


def test_facts_are_those_of_the_file() -> None:
    stereo = np.zeros((1_200, 2), "<i2")
    facts, samples = _decoded(wav(stereo.tobytes(), channels=2, rate_hz=8_000))
    assert (facts["rate_hz"], facts["channels"], facts["samples"]) == (8_000, 2, 1_200)
    assert (facts["codec"], facts["container"]) == ("pcm_s16le", "wav")
    assert facts["declared_s"] == pytest.approx(0.15)
    assert facts["damaged_s"] == []
    assert len(samples) == 1_200


@pytest.mark.parametrize("rate_hz", RATE_RANGE_HZ)
def test_rates_at_the_ends_of_the_range_are_read(rate_hz: float) -> None:
    """Control: one hertz beyond."""
    assert _decoded(wav(PCM, rate_hz=int(rate_hz)))[0]["rate_hz"] == rate_hz
    beyond = int(rate_hz) + (1 if rate_hz > 48_000 else -1)
    assert _refused(wav(PCM, rate_hz=beyond)) == f"a sample rate of {beyond} Hz"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (wav(b""), "a file without one sample that can be decoded"),
        (wav(b"", channels=9), "a channel count of 9"),
        (wav(b"", rate_hz=7_999), "a sample rate of 7999 Hz"),
        (wav(PCM, channels=0), "a file without sound"),
        (wav(PCM, bits=0), "sound in the coding unknown or forbidden"),
        (wav(PCM, form=2, bits=4), "sound in the coding adpcm_ms"),
    ],
)
def test_what_the_header_tells_is_refused_before_anything_is_decoded(data: bytes, said: str) -> None:
    assert _refused(data) == said


def test_what_the_header_does_not_tell_is_refused_where_it_comes() -> None:
    """Of an MP3 each frame has a rate and a layout of its own. Control: what both allow is read."""
    mono, faster = (tone_file("mp3", rate_hz=rate_hz, duration_s=0.3) for rate_hz in (44_100, 48_000))
    kind = replace(KINDS["mp3"], layout="stereo", samples="fltp")
    stereo = encoded(kind, np.zeros((2, 20_000), np.float32), 44_100)
    assert _refused(mono + stereo, channels=1) == "a channel count of 2"
    assert _decoded(mono + stereo, channels=2)[0]["channels"] == 2
    assert _refused(mono + faster, rate_hz=(8_000, 44_100)) == "a sample rate of 48000 Hz"
    assert _refused(mono + faster).startswith("a rate that changes from ")
    assert _decoded(mono + mono)[0]["rate_hz"] == 44_100


def test_a_first_frame_of_another_rate_than_the_header_told_is_refused() -> None:
    """Control: of a rate that is allowed."""
    told = json.loads(child_limits(10.0))
    spool = _Spool(lambda _: None, told)
    frame: Any = SimpleNamespace(layout=SimpleNamespace(nb_channels=1), sample_rate=7_999)
    with pytest.raises(Refusal, match="a sample rate of 7999 Hz"):
        _check_frame(frame, spool, told)
    frame.sample_rate = 8_000
    _check_frame(frame, spool, told)
    assert spool.rate_hz == 8_000


def test_as_many_channels_as_are_allowed_are_read() -> None:
    assert _decoded(wav(PCM, channels=MAX_CHANNELS))[0]["channels"] == MAX_CHANNELS
    assert _decoded(wav(PCM), channels=1)[0]["channels"] == 1
    assert _refused(wav(PCM, channels=2), channels=1) == "a channel count of 2"


def test_the_longest_that_is_allowed_is_read_declared_or_not() -> None:
    """A tenth of a second; control: one sample more."""
    for claim, said in ((None, "a declared length of 0.100021 s"), (0, "more than 2.77778e-05 h of sound")):
        assert _decoded(wav(PCM, claim=claim), duration_s=0.1)[0]["samples"] == 4_800
        assert _refused(wav(PCM + bytes(2), claim=claim), duration_s=0.1) == said


# What a file declares


def _with_chunk(size: int) -> bytes:
    """A WAV with one more chunk before its samples; one of an odd size is padded."""
    whole = wav(PCM)
    return whole[:36] + pack("<4sI", b"JUNK", size) + bytes(size + size % 2) + whole[36:]


@pytest.mark.parametrize("size", [0, 4, 5, 200_001])
def test_the_length_of_a_wav_is_found_behind_other_chunks(size: int) -> None:
    assert _decoded(_with_chunk(size))[0]["declared_s"] == pytest.approx(0.1)


@pytest.mark.parametrize("claim", [0, 0xFFFFFFFF])
def test_a_wav_whose_length_was_left_open_declares_none(claim: int) -> None:
    """Control: one byte from it, it is a length."""
    assert _decoded(wav(PCM, claim=claim))[0]["declared_s"] is None
    assert _decoded(wav(PCM, claim=9_598))[0]["declared_s"] == pytest.approx(9_598 / 96_000)


def test_a_wav_that_does_not_tell_its_bytes_a_second_declares_no_length() -> None:
    whole = wav(PCM)
    facts, _ = _decoded(whole[:28] + bytes(4) + whole[32:])
    assert (facts["declared_s"], facts["samples"]) == (None, 4_800)


@pytest.mark.parametrize(
    ("name", "rate_hz", "declares"),
    [("flac", 48_000, True), ("mp3", 44_100, True), ("ogg-opus", 48_000, True), ("webm-opus", 48_000, True)],
)
def test_other_files_declare_what_they_hold(name: str, rate_hz: int, *, declares: bool) -> None:
    declared_s = _decoded(tone_file(name, rate_hz=rate_hz, duration_s=0.5))[0]["declared_s"]
    assert (declared_s is not None) is declares
    assert declared_s == pytest.approx(0.5, abs=0.06)


def test_an_mp3_without_its_tag_declares_nothing() -> None:
    """What FFmpeg guesses from the bit rate is no declaration; the tag lies in the first frame."""
    data = tone_file("mp3", rate_hz=44_100, duration_s=0.5)
    start = data.find(b"\xff\xfb")
    second = data.find(b"\xff\xfb", start + 100)
    assert _decoded(data[second:])[0]["declared_s"] is None


# What is damaged or missing


def test_the_time_of_damage_is_where_the_silence_begins() -> None:
    place = len(FLAC) // 2
    facts, samples = _decoded(FLAC[:place] + bytes(40) + FLAC[place + 40 :])
    assert facts["damaged_s"][0] == pytest.approx(np.flatnonzero(samples == 0.0)[1] / 48_000, abs=1e-3)


def _late(late_s: float, *, after: int) -> bytes:
    """A second of sound whose packets from one on say that they come later."""
    out = io.BytesIO()
    source = av.open(io.BytesIO(tone_file("webm-opus", rate_hz=48_000, duration_s=1.0)), mode="r")
    with source, av.open(out, mode="w", format="webm") as container:
        copy = container.add_stream_from_template(source.streams.audio[0])
        for number, packet in enumerate(source.demux(audio=0)):
            if packet.dts is not None and packet.pts is not None:
                packet.pts = packet.dts = packet.pts + round(1_000 * late_s) * (number >= after)
                packet.stream = copy
                container.mux(packet)
    return out.getvalue()


@pytest.mark.parametrize(("late_s", "silence_s"), [(0.08, 0.0), (0.5, 0.5), (30.0, 10.0)])
def test_a_gap_becomes_silence_of_ten_seconds_at_most(late_s: float, silence_s: float) -> None:
    facts, samples = _decoded(_late(late_s, after=26))
    assert len(samples) / 48_000 == pytest.approx(1.0 + silence_s, abs=0.05)
    assert facts["damaged_s"] == ([pytest.approx(0.5, abs=0.05)] if silence_s else [])


def test_what_is_lost_at_the_very_beginning_is_silence_too() -> None:
    """Of a file whose packets have times; the first 20 ms of it are damaged."""
    data = tone_file("m4a-aac", rate_hz=44_100, duration_s=1.0)
    place = data.find(b"mdat") + 4
    _, whole = _decoded(data)
    facts, samples = _decoded(data[:place] + b"\xff" * 400 + data[place + 400 :])
    assert abs(len(samples) - len(whole)) < 0.06 * 44_100
    assert facts["damaged_s"][0] == 0.0


def test_sound_that_begins_late_begins_at_once() -> None:
    facts, samples = _decoded(_late(5.0, after=0))
    assert len(samples) / 48_000 == pytest.approx(1.0, abs=0.05)
    assert facts["damaged_s"] == []


@pytest.mark.parametrize("name", ["m4a-aac", "adts-aac", "ogg-flac"])
def test_a_packet_that_cannot_be_decoded_is_as_long_as_it_was(name: str) -> None:
    data = tone_file(name, rate_hz=44_100, duration_s=1.0)
    place = len(data) // 2
    _, whole = _decoded(data)
    facts, samples = _decoded(data[:place] + bytes(60) + data[place + 60 :])
    assert len(samples) == len(whole)
    assert facts["damaged_s"] == [pytest.approx(0.52, abs=0.05)]


# What the parent makes of it


def _status(samples: int, *, rate_hz: int = 8_000, **more: object) -> dict[str, Any]:
    return {"rate_hz": rate_hz, "samples": samples, "declared_s": None, "damaged_s": [], **more}


def _recorded(samples: np.ndarray, **more: Any) -> list[str]:
    """What is remarked on it."""
    found = recording_from(_status(samples.size, **more), samples.astype("<f4").tobytes(), origin="take")
    return [finding.text for finding in found.findings]


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_a_sample_may_be_as_loud_as_is_allowed(sign: float) -> None:
    samples = np.zeros(100)
    samples[50] = sign * MAX_SAMPLE
    assert _recorded(samples) == []
    samples[50] *= 1.001
    with pytest.raises(DecodeError, match="beyond 16 times full scale"):
        _recorded(samples)


@pytest.mark.parametrize(("place", "said"), [(11, "0.001"), (12, "0.002"), (2_000_004, "250.000")])
def test_the_place_of_a_sample_that_is_no_number_is_told(place: int, said: str) -> None:
    samples = np.zeros(place + 10)
    samples[place] = np.nan
    with pytest.raises(DecodeError, match=f"at {said} s was given"):
        _recorded(samples)


@pytest.mark.parametrize(("declared_s", "least_s", "short"), [(1.0, 0.898, "0.89"), (100.0, 99.7, "99.69")])
def test_a_file_may_be_shorter_by_what_encoders_add(declared_s: float, least_s: float, short: str) -> None:
    """A tenth of a second and two thousandths of the whole."""
    assert _recorded(np.zeros(round(8_000 * (least_s + 0.005))), declared_s=declared_s) == []
    (said,) = _recorded(np.zeros(round(8_000 * (least_s - 0.005))), declared_s=declared_s)
    assert said == f"the file declares {declared_s:.2f} s of sound and holds {short} s"


def test_damaged_pieces_are_counted_and_the_first_is_placed() -> None:
    (said,) = _recorded(np.zeros(8_000), damaged_s=[0.25, 0.5])
    assert said == "2 damaged piece(s) of the file were left out, the first at 0.25 s"


@pytest.mark.parametrize(
    ("megabytes", "time_s"), [(1e-6, 10.0), (1.0, 14.0), (100.0, 410.0), (222.0, 898.0), (1_000.0, 900.0)]
)
def test_a_decoder_has_ten_seconds_and_four_a_megabyte(
    monkeypatch: pytest.MonkeyPatch, megabytes: float, time_s: float
) -> None:
    """As `decode_file` says; a quarter of an hour at most."""
    told: list[float] = []

    def run(*_arguments: object, time_s: float, **_more: object) -> dict[str, Any]:
        told.append(time_s)
        return {"refused": {"given": "it", "allowed": "not", "nearest": ""}}

    monkeypatch.setattr(parent, "_run", run)
    with tempfile.TemporaryFile() as handle:
        handle.truncate(round(megabytes * 1e6))
        with pytest.raises(DecodeError):
            decode_file(handle, origin="take")
    assert told == [pytest.approx(time_s, abs=1e-4)]


def test_a_part_of_a_second_is_a_second_of_work() -> None:
    assert json.loads(child_limits(0.2))["cpu_s"] == 1
    assert json.loads(child_limits(3.0))["cpu_s"] == 3


@pytest.mark.parametrize(
    ("name", "said"), [("XCPU", "ran for more than 10 s"), ("KILL", f"signal {int(signal.SIGKILL)}")]
)
def test_a_decoder_that_is_stopped_for_its_work_was_too_slow(name: str, said: str) -> None:
    with tempfile.TemporaryFile() as handle:
        handle.write(wav(PCM))
        handle.flush()
        with pytest.raises(DecodeError, match=said):
            decode_file(handle, origin="take", command=["/bin/sh", "-c", f"kill -{name} $$"], timeout_s=10.0)


def test_a_file_of_just_the_size_that_is_read_goes_to_the_decoder(tmp_path: Path) -> None:
    """Its four gigabytes are a hole, which no decoder knows."""
    path = tmp_path / "take.wav"
    with path.open("wb") as handle:
        handle.truncate(4 << 30)
    with pytest.raises(DecodeError, match="data that cannot be decoded"):
        read_recording(path)


def test_bytes_for_which_there_is_no_room_are_said_to_be_too_many(monkeypatch: pytest.MonkeyPatch) -> None:
    class Full(io.BytesIO):
        def write(self, data: object) -> int:
            del data
            return 7

    monkeypatch.setattr(tempfile, "TemporaryFile", lambda **_: Full())
    with pytest.raises(InputError, match=r"does not fit into the temporary folder \(it is full\)"):
        read_bytes(wav(PCM), origin="take")


def test_a_place_that_is_no_folder_is_not_read(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match=r"cannot be read \(Not a directory\) .* read access is needed"):
        read_recording(tmp_path / "file" / "take.wav")
