"""A known tone through every container: decoding bends neither pitch nor level nor length."""

from __future__ import annotations

import io
import subprocess
import sys
from typing import TYPE_CHECKING

import av
import numpy as np
import pytest

from canebench.base.errors import InputError, NotFoundError, UnknownNameError
from canebench.sound.files.decode import read_bytes, read_recording
from canebench.sound.files.encode import BitDepth, write_recording
from canebench.sound.files.recording import Recording
from support.pitch import assert_within_cents
from support.soundfiles import KINDS, MORE_KINDS, Kind, encoded, tone_file
from support.tones import amplitude_and_hz, tone

if TYPE_CHECKING:
    from pathlib import Path

HZ = 440.123
ALL_KINDS = KINDS | MORE_KINDS


@pytest.mark.parametrize(
    ("name", "rate_hz"), [(n, r) for n, kind in ALL_KINDS.items() for r in kind.rates_hz]
)
def test_tone_survives(name: str, rate_hz: int) -> None:
    recording = read_bytes(tone_file(name, rate_hz=rate_hz, hz=HZ), origin=name)
    assert recording.rate_hz == rate_hz
    assert recording.findings == ()
    # AAC's priming and AMR's last frame are kept; nothing is lost.
    assert 0.0 <= recording.duration_s - 2.0 < 0.06
    amplitude, hz = amplitude_and_hz(recording.samples, recording.rate_hz, HZ)
    assert amplitude == pytest.approx(0.5, rel=ALL_KINDS[name].level)
    assert_within_cents(hz, HZ, cents=ALL_KINDS[name].cents)


def test_tone_check_would_see_a_wrong_rate() -> None:
    """Control: the same samples under a rate 0.01 % off fail the check above."""
    recording = read_bytes(tone_file("flac", rate_hz=48_000, hz=HZ), origin="flac")
    _, hz = amplitude_and_hz(recording.samples, 48_004.8, HZ)
    with pytest.raises(AssertionError, match="cents, allowed"):
        assert_within_cents(hz, HZ, cents=ALL_KINDS["flac"].cents)


def test_the_sound_of_a_video_is_read() -> None:
    out = io.BytesIO()
    with av.open(out, mode="w", format="mp4") as container:
        video = container.add_stream("mpeg4", rate=10, width=64, height=64)
        audio = container.add_stream("flac", rate=48_000, layout="mono")
        for number in range(10):
            picture = av.VideoFrame(64, 64, "yuv420p")
            picture.pts = number
            container.mux(video.encode(picture))
        samples = (32_767 * tone(HZ, 48_000, duration_s=1.0)).astype(np.int16)
        frame = av.AudioFrame.from_ndarray(samples[None], format="s16", layout="mono")
        frame.sample_rate, frame.pts = 48_000, 0
        container.mux(audio.encode(frame))
        container.mux(audio.encode(None))
        container.mux(video.encode(None))
    recording = read_bytes(out.getvalue(), origin="video")
    assert recording.findings == ()
    amplitude, hz = amplitude_and_hz(recording.samples, 48_000, HZ)
    assert amplitude == pytest.approx(0.5, rel=1e-3)
    assert_within_cents(hz, HZ, cents=1e-4)


@pytest.mark.parametrize("layout", ["stereo", "2.1", "4.0", "5.1", "7.1"])
def test_channels_are_averaged_plainly(layout: str) -> None:
    channels = av.AudioLayout(layout).nb_channels
    kind = Kind(container="wav", codec="pcm_f32le", samples="flt", layout=layout)
    samples = np.stack([tone(200.0 * (i + 1), 48_000, duration_s=0.3) for i in range(channels)])
    recording = read_bytes(encoded(kind, samples, 48_000), origin=layout)
    mean = samples.mean(axis=0, dtype=np.float64)
    np.testing.assert_allclose(recording.samples, mean, rtol=0, atol=2e-7)


def test_the_usual_downmix_is_no_average() -> None:
    """Control: FFmpeg's own way to mono would fail the test above."""
    samples = np.stack([tone(200.0, 48_000, duration_s=0.1), tone(400.0, 48_000, duration_s=0.1)])
    frame = av.AudioFrame.from_ndarray(samples, format="fltp", layout="stereo")
    frame.sample_rate = 48_000
    mixed = av.AudioResampler(format="flt", layout="mono", rate=48_000).resample(frame)[0].to_ndarray()[0]
    assert np.max(np.abs(mixed - samples.mean(axis=0))) > 0.1


@pytest.mark.parametrize(
    ("name", "bit_depth", "rate_hz", "step"),
    [
        ("take.wav", 16, 44_100, 2**-16),
        ("take.wav", 24, 192_000, 2**-24),
        ("take.wav", None, 8_000, 2**-24),
        ("take.wav", 32, 48_000, 0.0),
        ("take.flac", 16, 48_000, 2**-16),
        ("take.flac", 24, 96_000, 2**-24),
        ("take.m4a", 16, 44_100, 2**-16),
        ("take.m4a", 24, 48_000, 2**-24),
    ],
)
def test_lossless_round_trip(
    tmp_path: Path, name: str, bit_depth: BitDepth | None, rate_hz: int, step: float
) -> None:
    written = Recording(samples=tone(HZ, rate_hz, duration_s=0.5), rate_hz=rate_hz, origin="tone")
    write_recording(written, tmp_path / name, bit_depth=bit_depth)
    read = read_recording(tmp_path / name)
    assert read.origin == name
    assert read.rate_hz == rate_hz
    np.testing.assert_allclose(read.samples, written.samples, rtol=0, atol=step)
    assert [path.name for path in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize("name", ["take.mp3", "take.m4a", "take.ogg", "take.webm"])
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_lossy_round_trip(tmp_path: Path, name: str, rate_hz: int) -> None:
    written = Recording(samples=tone(HZ, rate_hz, duration_s=2.0), rate_hz=rate_hz, origin="tone")
    write_recording(written, tmp_path / name)
    read = read_recording(tmp_path / name)
    amplitude, hz = amplitude_and_hz(read.samples, read.rate_hz, HZ)
    assert amplitude == pytest.approx(0.5, rel=0.06)
    assert_within_cents(hz, HZ, cents=0.012)


def test_floats_keep_what_is_over_full_scale(tmp_path: Path) -> None:
    loud = Recording(samples=tone(HZ, 48_000, duration_s=0.1, amplitude=2.0), rate_hz=48_000, origin="tone")
    write_recording(loud, tmp_path / "take.wav", bit_depth=32)
    np.testing.assert_array_equal(read_recording(tmp_path / "take.wav").samples, loud.samples)
    with pytest.raises(InputError, match=r"a peak of 2 times full scale .* a gain of −6.03 dB"):
        write_recording(loud, tmp_path / "take.flac")


def test_what_cannot_be_written_says_so(tmp_path: Path) -> None:
    take = Recording(samples=tone(HZ, 96_000, duration_s=0.1), rate_hz=96_000, origin="tone")
    with pytest.raises(UnknownNameError, match=r"'.flax' was given; allowed are .wav.* works: .flac"):
        write_recording(take, tmp_path / "take.flax")
    with pytest.raises(InputError, match=r"32 bits was given; allowed are 16 bits, 24 bits"):
        write_recording(take, tmp_path / "take.flac", bit_depth=32)
    with pytest.raises(InputError, match=r"96000 Hz was given; .* works: 48000 Hz"):
        write_recording(take, tmp_path / "take.mp3")
    with pytest.raises(InputError, match="a place that cannot be written"):
        write_recording(take, tmp_path / "nowhere" / "take.wav")
    bad = Recording(samples=np.array([np.nan], np.float32), rate_hz=48_000, origin="nan")
    with pytest.raises(InputError, match="a sample that is no number"):
        write_recording(bad, tmp_path / "take.wav")
    assert list(tmp_path.iterdir()) == []


def test_a_failed_write_leaves_the_old_file(tmp_path: Path) -> None:
    path = tmp_path / "take.wav"
    path.write_bytes(b"old")
    loud = Recording(samples=np.full(9, 1.5, np.float32), rate_hz=48_000, origin="loud")
    with pytest.raises(InputError, match="full scale"):
        write_recording(loud, path)
    assert path.read_bytes() == b"old"


def test_places_without_a_file(tmp_path: Path) -> None:
    with pytest.raises(NotFoundError, match="there is no such file"):
        read_recording(tmp_path / "none.wav")
    with pytest.raises(InputError, match="a folder was given; a sound file is needed"):
        read_recording(tmp_path)


def test_the_decoder_starts_light() -> None:
    """NumPy alone would double the decoder's start."""
    code = "import sys, canebench.sound.files.decode_child; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
    assert subprocess.run([sys.executable, "-c", f"import numpy; {code}"], check=False).returncode == 1
