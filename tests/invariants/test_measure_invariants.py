"""What must not change a pitch: gain, polarity, a pause before, the sample rate, channels, the way in."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.notes import NOTES
from canebench.bench.acts.fitting.measure_take import measure_take
from canebench.bench.views.wire.measurement import report_object
from canebench.sound.analysis.measure import measure
from canebench.sound.files.decode import read_bytes
from canebench.sound.files.recording import Recording
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from doors.run import run
from support.pitch import assert_within_cents
from support.soundfiles import KINDS, encoded
from support.takes import names

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.base.arrays import SampleArray
    from canebench.sound.analysis.readings import Measurement

_RATE_HZ = 16_000
_SAME = 1e-6
_RECIPE = Recipe(
    low_a_hz=473.7,
    notes=scale_notes(duration_s=1.0),
    seed=6_001,
    rate_hz=float(_RATE_HZ),
    snr_db=25.0,
    rt60_s=0.4,
    wander_cents=2.0,
    drones=DronePlan(level_db=0.0, bass_cents=3.0, tenor_cents=(2.5, -2.0)),
)


def _measured(samples: SampleArray) -> Measurement:
    return measure(Recording(samples=samples.astype(np.float32), rate_hz=float(_RATE_HZ), origin="test"))


@pytest.fixture(scope="module")
def samples() -> SampleArray:
    """The take that all these ways lead to."""
    return render(_RECIPE)[0].samples


@pytest.fixture(scope="module")
def plain(samples: SampleArray) -> Measurement:
    """Its measurement, straight from the samples."""
    measured = _measured(samples)
    assert names(measured) == list(NOTES)
    assert len(measured.drones) == 3
    return measured


def _assert_same(found: Measurement, plain: Measurement, *, cents: float) -> None:
    """The same notes and drones, each pitch within `cents`."""
    assert names(found) == names(plain)
    assert [drone.drone for drone in found.drones] == [drone.drone for drone in plain.drones]
    for note, other in zip(found.notes, plain.notes, strict=True):
        assert_within_cents(note.hz, other.hz, cents=cents)
    for drone, kin in zip(found.drones, plain.drones, strict=True):
        assert_within_cents(drone.hz, kin.hz, cents=cents)


@pytest.mark.parametrize("gain", [0.01, 0.1, 1.3])
def test_gain(gain: float, samples: SampleArray, plain: Measurement) -> None:
    """40 dB down to just under full scale; float32 rounding is what is left."""
    _assert_same(_measured(gain * samples), plain, cents=1e-3)


def test_polarity(samples: SampleArray, plain: Measurement) -> None:
    _assert_same(_measured(-samples), plain, cents=1e-6)


@pytest.mark.parametrize("pause_s", [0.37, 1.0, 3.3])
def test_a_pause_before_the_take(pause_s: float, samples: SampleArray, plain: Measurement) -> None:
    """Frames then fall elsewhere on the notes, so the spans differ: by 0.3 cent with 2 cents of wander."""
    found = _measured(np.concatenate([np.zeros(round(pause_s * _RATE_HZ), np.float32), samples]))
    _assert_same(found, plain, cents=0.3)
    for one, other in zip(found.notes, plain.notes, strict=True):
        assert one.spans_s[0][0] - pause_s == pytest.approx(other.spans_s[0][0], abs=0.06)


def test_control_a_take_played_a_little_faster_is_seen(samples: SampleArray, plain: Measurement) -> None:
    """A clock that is off by 0.02 % moves all pitches by 0.35 cent, which fails the widest gate here."""
    fast = Recording(samples=samples, rate_hz=_RATE_HZ * 1.0002, origin="test")
    with pytest.raises(AssertionError, match="sounds"):
        _assert_same(measure(fast), plain, cents=0.3)


@pytest.mark.parametrize("rate_hz", [11_025.0, 22_050.0, 48_000.0])
def test_another_sample_rate_of_the_same_recipe(rate_hz: float) -> None:
    """Steady notes and drones, rendered anew at each rate (with other noise): 0.05 cent."""
    recipe = replace(_RECIPE, wander_cents=0.0)
    plain, other = (measure(render(replace(recipe, rate_hz=rate))[0]) for rate in (16_000.0, rate_hz))
    _assert_same(other, plain, cents=0.05)


def _wav(samples: SampleArray) -> bytes:
    """A float WAV file of that shape (channels, n)."""
    layout = "mono" if len(samples) == 1 else "stereo"
    return encoded(replace(KINDS["wav-float"], layout=layout), samples, _RATE_HZ)


def test_one_channel_or_two_alike(samples: SampleArray, plain: Measurement) -> None:
    """A stereo file with the take in both channels is the take."""
    _assert_same(measure(read_bytes(_wav(np.stack([samples, samples])), origin="stereo")), plain, cents=1e-4)


def _numbers(written: object, place: str = "") -> dict[str, object]:
    """Every value of a JSON object by its place in it; the origin names the file and is left out."""
    if isinstance(written, dict):
        return {k: v for key, part in written.items() for k, v in _numbers(part, f"{place}/{key}").items()}
    if isinstance(written, list):
        parts = enumerate(written)
        return {k: v for index, part in parts for k, v in _numbers(part, f"{place}/{index}").items()}
    return {} if place == "/origin" else {place: written}


def _assert_same_numbers(found: dict[str, object], wanted: dict[str, object]) -> None:
    """The same values at the same places, numbers to a millionth of them (or the sixth decimal)."""
    assert found.keys() == wanted.keys()
    for place, value in wanted.items():
        if isinstance(value, float):
            assert found[place] == pytest.approx(value, rel=_SAME, abs=_SAME), place
        else:
            assert found[place] == value, place


def test_library_bench_and_command_give_the_same_numbers(
    samples: SampleArray, plain: Measurement, tmp_path: Path
) -> None:
    """The take through `measure`, through `measure_take` on a float WAV of it, and through the command."""
    path = tmp_path / "take.wav"
    path.write_bytes(_wav(samples[None, :]))
    report = measure_take(path)
    _assert_same(report.measurement, plain, cents=1e-6)
    for found, wanted in zip(report.measurement.notes, plain.notes, strict=True):
        for field in ("hz", "sd_hz", "cents", "sd_cents", "drift_cents_per_s", "spread_cents", "level_db"):
            assert getattr(found, field) == pytest.approx(getattr(wanted, field), rel=_SAME, abs=1e-9), field
        assert found.spans_s == wanted.spans_s
    result = run("measure", str(path), "--json")
    assert result.exit_code == 0
    printed = _numbers(json.loads(result.stdout))
    assert sum(isinstance(value, float) for value in printed.values()) > 80
    wanted_numbers = _numbers(json.loads(json.dumps(report_object(report))))
    _assert_same_numbers(printed, wanted_numbers)
    # Control: a door that passed another reference on than it was given would be seen.
    other = _numbers(json.loads(run("measure", str(path), "--json", "--reference", "474").stdout))
    with pytest.raises(AssertionError, match=r"/(reference|notes)/"):
        _assert_same_numbers(other, wanted_numbers)
    # The file itself is the take, sample for sample.
    np.testing.assert_array_equal(read_bytes(path.read_bytes(), origin="take").samples, samples)
