"""Slow courses have the spectra and the sizes that their docstrings promise; partials are summed exactly."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from canebench.sound.synth.bank import knots, sum_of_partials
from canebench.sound.synth.playing.courses import GRID_HZ, at, creep, drift, waver
from support.heterodyne import range_in


def _shares(course: np.ndarray, *edges_hz: float) -> list[float]:
    """Shares of a course's power between each two edges."""
    power = np.abs(np.fft.rfft(course)) ** 2
    freq = np.fft.rfftfreq(len(course), 1 / GRID_HZ)
    return [
        float(np.sum(power[(freq >= low) & (freq < high)]) / np.sum(power))
        for low, high in itertools.pairwise(edges_hz)
    ]


def test_a_waver_is_an_arm_s() -> None:
    """RMS 1; nothing below 0.1 Hz, nine tenths below 2 Hz, the rest below 6 Hz, each octave with less."""
    course = waver(600.0, np.random.default_rng(7_001))[0]
    assert np.sqrt(np.mean(course**2)) == pytest.approx(1.0, abs=1e-9)
    below, *octaves, above = _shares(course, 0.0, 0.09, 0.4, 0.8, 1.6, 3.2, 6.1, 50.0)
    assert below < 1e-6
    assert above < 1e-6
    assert all(a > b for a, b in itertools.pairwise(octaves))
    assert _shares(course, 0.0, 2.0)[0] == pytest.approx(0.9, abs=0.04)


def test_control_white_noise_is_no_waver() -> None:
    noise = np.random.default_rng(7_002).standard_normal(60_000)
    assert _shares(noise, 0.0, 2.0)[0] < 0.1


def test_rows_are_courses_of_their_own() -> None:
    rows = waver(600.0, np.random.default_rng(7_003), rows=3)
    assert rows.shape[0] == 3
    assert np.abs(np.corrcoef(rows) - np.eye(3)).max() < 0.15


def test_a_drift_is_slow_and_spans_one_in_ten_seconds() -> None:
    course = drift(600.0, np.random.default_rng(7_004))
    assert range_in(course, GRID_HZ, 10.0) == pytest.approx(1.0, rel=0.05)
    assert _shares(course, 0.0, 0.1)[0] > 0.999


def test_a_creep_moves_by_one_in_two_seconds() -> None:
    for course in creep(60.0, np.random.default_rng(7_005), rows=4):
        moved = course[200:] - course[:-200]
        assert np.sqrt(np.mean(moved**2)) == pytest.approx(1.0, abs=1e-6)
        # Nearly a random walk: half the time, more than half the way.
        half = course[100:] - course[:-100]
        assert 0.5 < np.sqrt(np.mean(half**2)) < 0.95


def test_a_course_is_read_between_its_points() -> None:
    assert at(np.array([0.0, 1.0, 3.0]), np.array([0.0, 0.005, 0.015])) == pytest.approx([0.0, 0.5, 2.0])


@pytest.mark.parametrize(("count", "hop"), [(4_800, 48), (4_801, 48), (20_000, 160), (37, 48)])
def test_partials_are_summed_as_written_out(count: int, hop: int) -> None:
    """Against the sum of cosines term by term, amplitudes straight between knots, phase wandering."""
    rng = np.random.default_rng(7_006)
    cycles = np.cumsum(0.01 + 0.001 * rng.standard_normal(count))
    places = knots(count, hop)
    amplitudes = rng.standard_normal((6, len(places))) + 1j * rng.standard_normal((6, len(places)))
    written_out = np.zeros(count)
    for k, row in enumerate(amplitudes, start=1):
        held = np.interp(np.arange(count), places, row.real) + 1j * np.interp(
            np.arange(count), places, row.imag
        )
        written_out += (held * np.exp(2j * np.pi * k * cycles)).real
    assert sum_of_partials(cycles, amplitudes, hop) == pytest.approx(written_out, abs=1e-9)
    # Control: partials in the wrong order are another sound.
    assert sum_of_partials(cycles, amplitudes[::-1], hop) != pytest.approx(written_out, abs=0.1)
