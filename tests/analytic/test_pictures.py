"""Pictures of sound: a PNG that another decoder reads, with the tone where it is."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from canebench.sound.files.recording import Recording
from canebench.sound.pictures import TOP_HZ, spectrogram_png, waveform
from support.tones import tone

RATE_HZ = 48_000


def test_a_tone_is_a_dark_line_at_its_frequency() -> None:
    recording = Recording(samples=tone(1_000.0, RATE_HZ, duration_s=2.0), rate_hz=RATE_HZ, origin="tone")
    picture = np.asarray(Image.open(io.BytesIO(spectrogram_png(recording))))
    assert picture.ndim == 2
    darkest = int(np.argmin(picture[:, picture.shape[1] // 2]))
    height = picture.shape[0]
    assert abs((height - 1 - darkest) * TOP_HZ / height - 1_000.0) < 2 * TOP_HZ / height
    assert picture[height - 1 - int(3_000 / TOP_HZ * height)].min() > 200


def test_the_waveform_reaches_as_far_as_the_samples() -> None:
    samples = np.concatenate([np.zeros(1_000), tone(480.0, RATE_HZ, duration_s=0.5, amplitude=0.25)])
    extremes = waveform(Recording(samples=samples.astype(np.float32), rate_hz=RATE_HZ, origin="tone"), 100)
    assert extremes.shape == (100, 2)
    assert np.all(extremes[:3] == 0.0)
    assert abs(extremes[:, 1].max() - 0.25) < 1e-3
    assert abs(extremes[:, 0].min() + 0.25) < 1e-3
