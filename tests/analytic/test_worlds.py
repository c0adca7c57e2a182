"""Worlds outside the model, held to facts from outside: closed forms, signs, what pipers are said to do."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.setting import Setting
from worlds.advice import AdvisedAct
from worlds.hour import against_take
from worlds.maker import resonant_reed
from worlds.own_line import DENSITY, SPEED, Walls, end_impedance, taped_share, through_cone, through_hole
from worlds.per_note import per_note
from worlds.perverse import perverse
from worlds.pipers import Piper
from worlds.reach import reachable
from worlds.resonant_reed import bore_impedance
from worlds.world import ALONG, OPEN, OWN_NOTES, TARGETS_HZ, Standing, cents_at, heard_cents, to_hz

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import ComplexArray, FloatArray
    from worlds.world import World

_DRAWN: tuple[tuple[str, Callable[[int], World]], ...] = (
    ("per_note", per_note),
    ("perverse", perverse),
    # A maker's work, and kept.
    ("resonant_reed", cache(resonant_reed)),
)
_WORLDS = pytest.mark.parametrize("draw", [draw for _, draw in _DRAWN], ids=[name for name, _ in _DRAWN])
_SEEDS = (101, 102, 103)
_LOSSLESS = Walls(rough=0.0)
_LOW, _HIGH = NOTES.index(LOW_A), NOTES.index(HIGH_A)


def _bare(count: int) -> FloatArray:
    return np.zeros((count, len(HOLES)))


def _in_steps(omega: FloatArray, *, near_m: float, far_m: float, length_m: float, pieces: int) -> FloatArray:
    """Reactance of a lossless cone open without any correction, in so many pieces."""
    load: ComplexArray = np.zeros(omega.shape, dtype=complex)
    radii = [float(one) for one in np.linspace(near_m, far_m, pieces + 1)]
    for i in range(pieces, 0, -1):
        near, far = radii[i - 1], radii[i]
        load = through_cone(load, omega, _LOSSLESS, near_m=near, far_m=far, length_m=length_m / pieces)
    return np.asarray(load.imag)


# The line


def test_a_truncated_cone_answers_where_the_closed_form_says() -> None:
    """Closed at the small end, open at the large: tan kL = -k x0 (textbook; tends to nc/2(L + x0))."""
    near, far, length = 0.0001, 0.010, 0.36
    apex = near * length / (far - near)
    k: FloatArray = np.pi / (length + apex) * np.array([1.0, 2.0, 3.0])
    for _ in range(60):
        k = (np.arange(1, 4) * np.pi - np.arctan(k * apex)) / length
    omega = k * SPEED
    # At the resonance the admittance vanishes, and a cent beside it does not.
    near_it, beside = (
        np.abs(1 / _in_steps(omega * 2**off, near_m=near, far_m=far, length_m=length, pieces=7))
        for off in (0.0, 1 / 1200)
    )
    assert np.all(near_it < 1e-4 * beside)
    # The whole cone's series, within the little that is cut off.
    whole = np.arange(1, 4) * SPEED / 2 / (length + apex)
    assert 1200 * np.abs(np.log2(omega / 2 / np.pi / whole)).max() < 0.1
    # Control: a cylinder's odd series is far off.
    assert abs(omega[0] / 2 / np.pi - SPEED / 4 / length) > 100


def test_a_cylinder_is_a_cone_without_taper() -> None:
    """Z = j Zc tan kL for an ideal open end."""
    omega = 2 * np.pi * np.array([100.0, 300.0, 700.0])
    line = DENSITY * SPEED / (np.pi * 0.004**2)
    closed_form = line * np.tan(omega * 0.2 / SPEED)
    found = _in_steps(omega, near_m=0.004, far_m=0.004, length_m=0.2, pieces=1)
    assert found == pytest.approx(closed_form, rel=1e-9)
    slight = _in_steps(omega, near_m=0.004, far_m=0.0040001, length_m=0.2, pieces=1)
    assert slight == pytest.approx(closed_form, rel=1e-3)
    # Control: the length is felt.
    assert slight != pytest.approx(line * np.tan(omega * 0.201 / SPEED), rel=1e-3)


def test_what_is_cut_in_pieces_is_one_cone() -> None:
    omega = 2 * np.pi * np.array([200.0, 480.0, 960.0])
    whole, parts = (
        _in_steps(omega, near_m=0.002, far_m=0.01, length_m=0.32, pieces=pieces) for pieces in (1, 9)
    )
    assert parts == pytest.approx(whole, rel=1e-8)


def test_losses_lower_and_damp_and_take_power() -> None:
    """Wall losses slow the wave and take power; an open hole raises what lies above it."""
    omega = 2 * np.pi * np.linspace(200.0, 2000.0, 50)
    wet = Walls(rough=1.0)
    k = wet.wavenumber(omega, 0.003)
    assert np.all(k.real > omega / SPEED)
    assert np.all(k.imag < 0)
    load = end_impedance(omega, 0.01)
    found = through_cone(load, omega, wet, near_m=0.002, far_m=0.01, length_m=0.32)
    assert np.all(found.real > 0)
    hole = {"hole_m": 0.003, "bore_m": 0.005, "wall_m": 0.005}
    low = 2 * np.pi * np.array([300.0])
    end = through_cone(end_impedance(low, 0.01), low, wet, near_m=0.006, far_m=0.01, length_m=0.1)
    opened, closed = (through_hole(end, low, is_open=np.array([state]), **hole) for state in (1.0, 0.0))
    # An inertance beside another is less than either.
    assert 0 < opened.imag[0] < end.imag[0]
    assert closed.imag[0] == pytest.approx(end.imag[0], rel=0.05)


def test_tape_covers_an_ellipse_as_geometry_says() -> None:
    shares = taped_share(np.array([0.0, 1.5, 3.0, 6.0]), np.array([6.0] * 4))
    assert shares[[0, 2, 3]] == pytest.approx([0.0, 0.5, 1.0], abs=1e-12)
    assert shares[1] == pytest.approx(1 / 3 - np.sqrt(3) / (4 * np.pi), abs=1e-12)


def test_the_reed_lies_below_the_bores_own_resonance() -> None:
    """Cavity and blades are compliant: a reed sounds flat of the bore closed at the blades."""
    world = resonant_reed(_SEEDS[0])
    hz = world.hz(np.zeros(1), _bare(1), 0.0)
    omega = 2 * np.pi * hz[..., None]
    reactance = bore_impedance(omega, world.bore, world.reed, np.zeros(1), _bare(1))[0, :, 0].imag
    # Below its resonance the bore is an inertance.
    assert np.all(reactance > 0)
    softer = replace(world, reed=replace(world.reed, spring_mm3=world.reed.spring_mm3 + 20))
    assert np.all(softer.hz(np.zeros(1), _bare(1), 0.0) < hz)


# Every world


@_WORLDS
@pytest.mark.parametrize("seed", _SEEDS)
def test_deeper_is_sharper_and_most_at_the_top(draw: Callable[[int], World], seed: int) -> None:
    world = draw(seed)
    seats = np.array([-0.5, 0.0, 0.5])
    cents = world.cents(seats, _bare(3), 10.0)
    steps = np.diff(cents, axis=0)
    assert np.all(steps > 0)
    assert np.all(steps[:, _HIGH] > steps[:, _LOW])
    # Published and practised order of size: some cents for half a millimetre.
    assert 0.5 < steps[:, _LOW].min() < steps[:, _HIGH].max() < 25
    # Control: the same seats in the other order.
    assert np.all(np.diff(cents[::-1], axis=0) < 0)


@_WORLDS
@pytest.mark.parametrize("seed", _SEEDS)
def test_tape_only_flattens_its_own_note_most(draw: Callable[[int], World], seed: int) -> None:
    world = draw(seed)
    bare = world.cents(np.zeros(1), _bare(1), 10.0)[0]
    for covered in (1.5, 2.1):
        taped = world.cents(np.zeros(len(HOLES)), covered * np.eye(len(HOLES)), 10.0)
        change = taped - bare
        own = change[np.arange(len(HOLES)), OWN_NOTES]
        assert np.all(own < -0.3)
        # Notes that do not open the hole feel hardly anything of it; those that do, less than its own.
        others = np.where(np.arange(len(NOTES)) == OWN_NOTES[:, None], 0.0, change)
        assert np.all(others > own[:, None])
        assert np.abs(np.where(OPEN.T, 0.0, others)).max() < 0.2
    # Control: the second strip did more than the first.
    assert np.all(own < (world.cents(np.zeros(8), 1.5 * np.eye(8), 10.0) - bare)[np.arange(8), OWN_NOTES])


@_WORLDS
@pytest.mark.parametrize("seed", _SEEDS)
def test_the_seat_has_a_bottom_and_leaks_above(draw: Callable[[int], World], seed: int) -> None:
    world = draw(seed)
    bottom = world.bottom_mm
    deep = world.cents(np.array([bottom, bottom + 1.0]), _bare(2), 10.0)
    assert deep[1] == pytest.approx(deep[0], abs=1e-6)
    high = world.cents(np.array([-4.0, -3.8, -0.2, 0.0]), _bare(4), 10.0)
    up, near = high[1] - high[0], high[3] - high[2]
    assert np.median(up / near) < 0.6


@_WORLDS
def test_scales_begin_with_the_faults_of_chanters(draw: Callable[[int], World]) -> None:
    """Most octaves lie within 25 cents, few are right at once, and no note is a tone off."""
    starts = np.array(
        [
            heard_cents(draw(seed).cents(np.zeros(1), _bare(1), 4.0)[0])
            for seed in (*range(201, 205), *_SEEDS, 301)
        ]
    )
    octaves = np.abs(starts[:, _HIGH])
    assert np.mean(octaves <= 25) >= 0.7
    assert octaves.max() < 60
    assert np.abs(starts).max() < 80
    assert np.mean(np.abs(starts).max(axis=1) <= 5) < 0.2


@_WORLDS
def test_an_hour_moves_the_reed_and_the_seed_is_all(draw: Callable[[int], World]) -> None:
    first, again, other = draw(5), getattr(draw, "__wrapped__", draw)(5), draw(6)
    at = Standing(seat_mm=0.25, tape_mm=np.full(len(HOLES), 0.9))
    assert cents_at(first, at, 12.0) == pytest.approx(cents_at(again, at, 12.0), abs=1e-9)
    assert np.abs(cents_at(first, at, 12.0) - cents_at(other, at, 12.0)).max() > 1
    assert np.abs(cents_at(first, at, 40.0) - cents_at(first, at, 0.0)).max() > 0.5


@_WORLDS
def test_what_is_said_to_be_reachable_is_reached(draw: Callable[[int], World]) -> None:
    world = draw(301)
    best = reachable(world, 20.0)
    left = np.abs(heard_cents(cents_at(world, best.standing, 20.0))).max()
    assert left == pytest.approx(best.cents, abs=1e-9)
    bare = np.abs(heard_cents(cents_at(world, Standing(seat_mm=0.0, tape_mm=_bare(1)[0]), 20.0))).max()
    assert best.cents < bare
    # No setting of many drawn at random does better.
    rng = np.random.default_rng(1)
    seats = rng.uniform(-2.0, min(2.0, world.bottom_mm), 300)
    tape = rng.uniform(0.0, 0.5, (300, len(HOLES))) * world.widths_mm * (rng.random((300, len(HOLES))) < 0.5)
    assert np.abs(heard_cents(world.cents(seats, tape, 20.0))).max(axis=1).min() > best.cents


# Pipers


def test_a_careful_piper_repeats_as_said_and_an_exact_one_does_what_is_meant() -> None:
    world, rng = per_note(7), np.random.default_rng(2)
    still = Standing(seat_mm=0.0, tape_mm=_bare(1)[0])
    blown = np.array([Piper(misses=0.0).hears(world, still, 10.0, rng)[0] for _ in range(800)])
    cents = 1200 * np.log2(blown / TARGETS_HZ)
    between = (cents[:, 1:] - cents[:, [0]]).std(axis=0)
    assert between == pytest.approx(np.full(8, 1.5 * np.sqrt(2)), rel=0.12)
    assert cents.mean(axis=1).std() == pytest.approx(np.hypot(2.0, 0.5), rel=0.12)
    wanted = Setting(seat_mm=0.5, tape_mm={"E": 1.5})
    exact = Piper(seat_mm=0.0, tape_mm=0.0)
    done, told = exact.does_all(world, still, Setting(), [wanted], rng)
    assert told == wanted
    assert done.seat_mm == pytest.approx(0.5)
    assert done.tape_mm[HOLES.index("E")] == pytest.approx(1.5)
    assert np.count_nonzero(done.tape_mm) == 1


def test_an_erring_piper_slips_as_often_as_said() -> None:
    world, rng = per_note(7), np.random.default_rng(3)
    still = Standing(seat_mm=0.0, tape_mm=_bare(1)[0])
    one = Piper(seat_mm=0.0, tape_mm=0.0, slips=0.1)
    wanted = Setting(seat_mm=0.5)
    counts = {"wrong": 0, "half": 0, "forgot": 0, "right": 0}
    for _ in range(2000):
        done, told = one.does_all(world, still, Setting(), [wanted], rng)
        if told != wanted:
            assert done.seat_mm == pytest.approx(0.5)
            counts["forgot"] += 1
        else:
            counts[{-0.5: "wrong", 0.25: "half", 0.5: "right"}[done.seat_mm]] += 1
    for slip in ("wrong", "half", "forgot"):
        assert 150 < counts[slip] < 250
    # Control: a careful one never does.
    for _ in range(200):
        done, told = replace(one, slips=0.0).does_all(world, still, Setting(), [wanted], rng)
        assert (done.seat_mm, told) == (0.5, wanted)


# The look at an act


def _act(setting: Setting) -> AdvisedAct:
    nothing = np.zeros(len(NOTES))
    return AdvisedAct(code="act", setting=setting, cents=nothing, sd_cents=nothing)


def test_an_act_against_the_take_is_seen() -> None:
    sd = np.full(len(NOTES), 1.0)
    narrow = to_hz(-40.0 * ALONG)
    assert against_take(Setting(), (_act(Setting(seat_mm=-1.0)),), narrow, sd) == ("octave",)
    assert against_take(Setting(), (_act(Setting(seat_mm=1.0)),), narrow, sd) == ()
    flat = to_hz(np.where(np.array(NOTES) == "C", -14.0, 0.0))
    assert against_take(Setting(), (_act(Setting(tape_mm={"C": 1.0})),), flat, sd) == ("flat",)
    assert against_take(Setting(), (_act(Setting(tape_mm={"B": 1.0})),), flat, sd) == ()
    deaf = np.where(np.array(NOTES) == "F", np.nan, flat)
    assert against_take(Setting(), (_act(Setting(tape_mm={"F": 1.0})),), deaf, sd) == ("unheard",)
    # Tape that comes off, or a narrow octave within what blowing scatters, is against nothing.
    taped = Setting(tape_mm={"C": 1.0})
    assert against_take(taped, (_act(Setting()),), flat, sd) == ()
    slight = to_hz(-4.0 * ALONG)
    assert against_take(Setting(), (_act(Setting(seat_mm=-1.0)),), slight, 3 * sd) == ()
