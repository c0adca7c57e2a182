"""Drones: bass and tenors to a tenth of a cent, whichever of them sound, while the chanter plays."""

from __future__ import annotations

import numpy as np
import pytest

from canebench.sound.analysis.pooling import _parted
from canebench.sound.analysis.readings import DroneReading
from canebench.sound.synth import DronePlan, Recipe, scale_notes
from support.pitch import assert_within_cents
from support.takes import Take, assert_drones_true, take_of

_CENTS = 0.1
_SEEDS = (5_401, 5_402, 5_403)


def _take(seed: int, drones: DronePlan) -> Take:
    """Nine notes of 1.3 s in room and noise with graces, over these drones."""
    recipe = Recipe(
        low_a_hz=float(np.random.default_rng(seed).uniform(440, 490)),
        notes=scale_notes(duration_s=1.3),
        seed=seed,
        rate_hz=12_000.0,
        snr_db=20.0,
        rt60_s=0.6,
        graces=True,
        drones=drones,
    )
    return take_of(recipe)


def _kinds(take: Take) -> list[str]:
    return [drone.drone for drone in take.measured.drones]


@pytest.mark.parametrize("seed", _SEEDS)
def test_bass_and_two_tenors(seed: int) -> None:
    """Each drone wanders by half a cent on its own."""
    take = _take(seed, DronePlan(bass_cents=4.0, tenor_cents=(3.0, -2.0), wander_cents=0.5))
    assert _kinds(take) == ["bass", "tenor", "tenor"]
    assert all(drone.separable for drone in take.measured.drones)
    assert_drones_true(take, cents=_CENTS)


@pytest.mark.parametrize("seed", _SEEDS)
def test_tenors_a_cent_apart_are_told_apart(seed: int) -> None:
    """12 s of two tenors 0.14 Hz apart, with a bass within half a cent of both."""
    take = _take(seed, DronePlan(bass_cents=0.9, tenor_cents=(0.5, -0.5)))
    assert _kinds(take) == ["bass", "tenor", "tenor"]
    assert all(drone.separable for drone in take.measured.drones)
    assert_drones_true(take, cents=_CENTS)
    # Control: each is nearer to its own truth than to half a cent beside it.
    sharp, flat = take.measured.drones[1:]
    assert 0.8 < 1200 * np.log2(sharp.hz / flat.hz) < 1.2


@pytest.mark.parametrize("seed", _SEEDS)
def test_tenors_a_cent_apart_that_wander_about_each_other(seed: int) -> None:
    """Their upper partials alone would fit as well a twentieth of a cycle away, and notes be lost."""
    take = _take(seed, DronePlan(bass_cents=1.0, tenor_cents=(0.5, -0.5), wander_cents=0.3))
    assert _kinds(take) == ["bass", "tenor", "tenor"]
    assert_drones_true(take, cents=_CENTS)


@pytest.mark.parametrize("seed", _SEEDS)
def test_a_single_tenor_beside_the_bass(seed: int) -> None:
    take = _take(seed, DronePlan(bass_cents=-3.0, tenor_cents=(2.0,), wander_cents=0.5))
    assert _kinds(take) == ["bass", "tenor"]
    assert_drones_true(take, cents=_CENTS)


@pytest.mark.parametrize("seed", _SEEDS)
def test_the_bass_alone(seed: int) -> None:
    take = _take(seed, DronePlan(bass_cents=-3.0, tenor_cents=(), wander_cents=0.5))
    assert _kinds(take) == ["bass"]
    assert_drones_true(take, cents=_CENTS)


@pytest.mark.parametrize("seed", _SEEDS)
def test_drones_that_begin_midway(seed: int) -> None:
    """They start at 5 s: their spans begin there, and the notes before it are measured all the same."""
    take = _take(seed, DronePlan(bass_cents=-3.0, tenor_cents=(2.5, -2.5), start_s=5.0))
    assert _kinds(take) == ["bass", "tenor", "tenor"]
    for drone in take.measured.drones:
        assert drone.spans_s[0][0] == pytest.approx(5.1, abs=0.25)
        assert drone.spans_s[-1][1] == pytest.approx(take.recording.duration_s, abs=0.2)
    assert_drones_true(take, cents=_CENTS)
    assert len(take.measured.notes) == 9


def test_control_a_take_without_drones_has_none() -> None:
    recipe = Recipe(
        low_a_hz=471.3, notes=scale_notes(duration_s=1.0), seed=5_404, rate_hz=12_000.0, rt60_s=0.6
    )
    assert take_of(recipe).measured.drones == ()


@pytest.mark.parametrize("seed", _SEEDS)
@pytest.mark.parametrize("wander_cents", [0.0, 0.3])
def test_tenors_in_unison_are_given_as_one(seed: int, wander_cents: float) -> None:
    """Never as two that differ: there is one tenor, and its pitch is right."""
    take = _take(seed, DronePlan(bass_cents=-3.0, tenor_cents=(1.0, 1.0), wander_cents=wander_cents))
    assert _kinds(take) == ["bass", "tenor"]
    tenor = take.measured.drones[1]
    means = [take.truth.drone_hz(name, *tenor.spans_s[0]) for name in ("tenor 1", "tenor 2")]
    assert_within_cents(tenor.hz, float(np.mean(means)), cents=_CENTS)


def _tenor(cents: float, sd_cents: float) -> DroneReading:
    hz = 238.0 * 2 ** (cents / 1200)
    span = ((0.0, 12.0),)
    return DroneReading(drone="tenor", hz=hz, sd_hz=hz * sd_cents / 1731.234, spread_cents=0.3, spans_s=span)


@pytest.mark.parametrize(
    ("apart_cents", "sd_cents", "told_apart"),
    [(0.1, 0.001, False), (0.5, 0.3, False), (0.5, 0.05, True), (3.0, 0.05, True)],
)
def test_tenors_that_cannot_be_told_apart_say_so(
    apart_cents: float,
    sd_cents: float,
    told_apart: bool,
) -> None:
    """Nearer than 0.15 cent, or than twice their joint doubt, two readings become one that says so."""
    found = _parted([_tenor(apart_cents, sd_cents), _tenor(0.0, sd_cents)])
    assert len(found) == (2 if told_apart else 1)
    assert all(reading.separable is told_apart for reading in found)
    if not told_apart:
        assert_within_cents(found[0].hz, 238.0 * 2 ** (apart_cents / 2400), cents=1e-3)
        assert found[0].spans_s == ((0.0, 12.0),)
