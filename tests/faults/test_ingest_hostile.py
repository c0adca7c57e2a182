"""Files that lie, files that are something else, and a decoder that fails: all end as one clear refusal."""

from __future__ import annotations

import io
import os
import zipfile
from typing import TYPE_CHECKING

import av
import numpy as np
import pytest

from canebench.base.errors import DecodeError, InputError
from canebench.sound.files import decode
from canebench.sound.files.decode import (
    read_bytes,
    read_recording,
)
from canebench.sound.files.decode_track import OPEN_OPTIONS
from support.effort import worked_s
from support.lies import flac_claiming, mp3_claiming, silent_flac, wav
from support.soundfiles import KINDS, tone_file
from support.watch import port, watched

if TYPE_CHECKING:
    from pathlib import Path

PCM = bytes(9_600)
FLAC = tone_file("flac", rate_hz=48_000, duration_s=3.0)
MP3 = tone_file("mp3", rate_hz=44_100, duration_s=0.3)
M4A = tone_file("m4a-aac", rate_hz=44_100, duration_s=0.3)
NOT_DECODED = r"data that cannot be decoded \(.*\) was given; a WAV, AIFF, FLAC, .* file is needed"
NO_NUMBER = r"a sample that is no number or beyond 16 times full scale, at 0\.002 s was given"
TOO_LONG = r"a declared length of .* s was given; at most 7200 s are read"


def _floats(value: float) -> bytes:
    samples = np.full(200, 0.1, "<f4")
    samples[100] = value
    return wav(samples.tobytes(), form=3, bits=32)


def _zip() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("take.wav", wav(PCM))
    return out.getvalue()


REFUSED: dict[str, tuple[bytes, str]] = {
    "wav of 4 GB": (wav(PCM, claim=0xFFFFFFFE), TOO_LONG),
    "flac of 2^36 samples": (flac_claiming(FLAC, 2**36 - 1), TOO_LONG),
    "mp3 of 2^32 frames": (mp3_claiming(MP3, 2**32 - 1), TOO_LONG),
    "a day of silence": (silent_flac(86_400, declared=True), TOO_LONG),
    "a day, not declared": (
        silent_flac(86_400, declared=False),
        "more than 2 h of sound was given; at most 2 h",
    ),
    "rate 0": (wav(PCM, rate_hz=0), NOT_DECODED),
    "rate 1": (
        wav(PCM, rate_hz=1),
        "rate of 1 Hz was given; .* 8000 to 192000 Hz. Nearest that works: 8000 Hz",
    ),
    "rate 2 GHz": (wav(PCM, rate_hz=2_000_000_000), "rate of 2000000000 Hz .* Nearest that works: 192000 Hz"),
    "rate 4 GHz": (wav(PCM, rate_hz=4_000_000_000), NOT_DECODED),
    "no channels": (wav(PCM, channels=0), "a file without sound was given"),
    "9 channels": (wav(PCM, channels=9), "a channel count of 9 was given; allowed are 1 to 8"),
    "65535 channels": (wav(PCM, channels=65_535), "a file without sound was given"),
    "0 bits": (wav(PCM, bits=0), "sound in the coding unknown or forbidden was given; allowed are AAC, ALAC"),
    "another coding": (wav(PCM, form=2, bits=4), "sound in the coding adpcm_ms was given; allowed are AAC"),
    "NaN": (_floats(np.nan), NO_NUMBER),
    "infinity": (_floats(-np.inf), NO_NUMBER),
    "1e38": (_floats(1e38), NO_NUMBER),
    "empty": (b"", "an empty file was given; a file with sound in it is needed"),
    "wav, header only": (wav(b""), "a file without one sample that can be decoded was given"),
    "wav, cut in its header": (wav(PCM)[:30], NOT_DECODED),
    "m4a, index lost": (M4A[: len(M4A) // 2], NOT_DECODED),
    "html": (b"<!DOCTYPE html><html><body>take</body></html>", NOT_DECODED),
    "svg": (b'<svg xmlns="http://www.w3.org/2000/svg"><image href="take.wav"/></svg>', NOT_DECODED),
    "zip": (_zip(), NOT_DECODED),
    "text": (b"nine notes, all in tune\n" * 40, NOT_DECODED),
}


@pytest.mark.parametrize("case", REFUSED)
def test_lies_and_other_files_are_refused_at_once(tmp_path: Path, case: str) -> None:
    data, sentence = REFUSED[case]
    path = tmp_path / "take.wav"
    path.write_bytes(data)
    start = worked_s()
    with pytest.raises(DecodeError, match=f"^take.wav: .*{sentence}.*"):
        read_recording(path)
    assert worked_s() - start < 1.0


@pytest.mark.parametrize(
    "data",
    [wav(PCM), wav(PCM, claim=0xFFFFFFFF), wav(PCM, claim=0), silent_flac(60, declared=False), _floats(1.5)],
    ids=["true", "length left open", "length never filled in", "silence", "over full scale"],
)
def test_what_is_no_lie_is_read(data: bytes) -> None:
    """Control: the same makers, telling the truth, make files that are read without a remark."""
    assert read_bytes(data, origin="take").findings == ()


@pytest.mark.parametrize(
    ("data", "codes"),
    [
        (wav(PCM, claim=960_000), {"shorter-than-declared"}),
        (flac_claiming(FLAC, 48_000 * 3600), {"shorter-than-declared"}),
        (mp3_claiming(MP3, 10_000), {"shorter-than-declared"}),
        (FLAC[: len(FLAC) // 2], {"shorter-than-declared", "damaged"}),
        (FLAC, set()),
        (MP3, set()),
    ],
    ids=["wav", "flac", "mp3", "flac cut", "flac whole", "mp3 whole"],
)
def test_half_a_file_is_read_and_said_to_be_one(data: bytes, codes: set[str]) -> None:
    recording = read_bytes(data, origin="take")
    assert {finding.code for finding in recording.findings} == codes


def test_a_damaged_packet_becomes_silence_of_its_length() -> None:
    whole = read_bytes(FLAC, origin="take")
    place = len(FLAC) // 2
    damaged = read_bytes(FLAC[:place] + bytes(40) + FLAC[place + 40 :], origin="take")
    assert "damaged" in {finding.code for finding in damaged.findings}
    assert len(damaged.samples) == len(whole.samples)
    same = damaged.samples == whole.samples
    assert not np.any(damaged.samples[~same])
    assert 0.5 < np.mean(same) < 1.0


@pytest.mark.parametrize(("shift_ms", "codes"), [(15, set()), (1_500, {"damaged"})], ids=["waver", "gap"])
def test_wavering_time_stamps_add_no_silence(shift_ms: int, codes: set[str]) -> None:
    """Recorders in a browser stamp packets by a clock that wavers; a true gap becomes silence."""
    out = io.BytesIO()
    source = av.open(io.BytesIO(tone_file("webm-opus", rate_hz=48_000, duration_s=1.0)), mode="r")
    with source, av.open(out, mode="w", format="webm") as container:
        copy = container.add_stream_from_template(source.streams.audio[0])
        for number, packet in enumerate(source.demux(audio=0)):
            if packet.dts is not None and packet.pts is not None:
                late = shift_ms * (number % 2 if shift_ms < 20 else number > 25)
                packet.pts = packet.dts = packet.pts + late
                packet.stream = copy
                container.mux(packet)
    recording = read_bytes(out.getvalue(), origin="take")
    assert {finding.code for finding in recording.findings} == codes
    assert recording.duration_s == pytest.approx(2.5 if codes else 1.0, abs=0.05)


@pytest.mark.parametrize("kind", ["m3u8", "ffconcat"])
def test_no_playlist_is_followed(tmp_path: Path, kind: str) -> None:
    target = tmp_path / "target.wav"
    target.write_bytes(wav(PCM))
    lists = {
        "m3u8": "#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\ntarget.wav\n#EXT-X-ENDLIST\n",
        "ffconcat": "ffconcat version 1.0\nfile target.wav\n",
    }
    playlist = tmp_path / f"take.{kind}"
    playlist.write_text(lists[kind])
    with watched(target) as opens:
        with pytest.raises(DecodeError, match=NOT_DECODED):
            read_recording(playlist)
        assert not opens.seen()
        with pytest.raises(av.FFmpegError, match="Invalid argument"):
            av.open(str(playlist), options=OPEN_OPTIONS)
        assert not opens.seen()
        # Control: the same list, opened by its path and without the whitelist, is followed.
        open_it = {"extension_picky": "0"} if kind == "m3u8" else {}
        av.open(str(playlist), options=open_it).close()
        assert opens.seen()


def test_nobody_is_called(tmp_path: Path) -> None:
    playlist = tmp_path / "take.m3u8"
    template = "#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\nhttp://127.0.0.1:{}/take.ts\n#EXT-X-ENDLIST\n"
    with port() as calls:
        playlist.write_text(template.format(calls.port))
        with pytest.raises(DecodeError, match=NOT_DECODED):
            read_recording(playlist)
    assert calls.count == 0
    with port() as calls:  # control: without the whitelist the call is made
        playlist.write_text(template.format(calls.port))
        with pytest.raises(av.FFmpegError, match=r".*"):
            av.open(str(playlist), options={"protocol_whitelist": "file,http,tcp,crypto,data"})
    assert calls.count > 0


def test_a_file_beyond_the_size_limit_is_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "take.wav"
    with path.open("wb") as handle:
        handle.truncate((4 << 30) + 1)  # sparse: it takes no room
    with pytest.raises(DecodeError, match=r"a file of 4\.0 GiB was given; at most 4 GiB are read"):
        read_recording(path)
    monkeypatch.setattr(decode, "MAX_BYTES", 5 << 30)
    with pytest.raises(DecodeError, match=NOT_DECODED):  # control: without the limit it goes to the decoder
        read_recording(path)


def test_no_pipe_is_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "take.wav")
    with pytest.raises(InputError, match="no regular file was given"):
        read_recording(tmp_path / "take.wav")


def test_half_of_any_file_is_read_or_refused() -> None:
    for name, kind in KINDS.items():
        data = tone_file(name, rate_hz=kind.rates_hz[0], duration_s=0.3)
        try:
            half = read_bytes(data[: len(data) // 2], origin=name)
        except DecodeError:
            continue
        assert half.duration_s < 0.3
