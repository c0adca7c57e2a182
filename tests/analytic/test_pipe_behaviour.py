"""What a behaviour asks for is in the rendered sound, measured there by heterodyne and envelope."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.errors import InputError, UnknownNameError
from canebench.sound.synth import (
    DEGREES,
    DronePlan,
    PipeBehaviour,
    Recipe,
    SourceBehaviour,
    behaviour_drawn,
    behaviour_for,
    render,
    scale_notes,
    still,
)
from support.heterodyne import STEP_S, against, course_cents, level_db, range_in

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.files.recording import Recording

_RATE_HZ = 12_000.0
_LOW_A_HZ = 476.0
_BASS_HZ = _LOW_A_HZ / 4
_SOLO = still().chanter
#: One note of a minute: the chanter alone, or so soft under the drones that it is not heard.
_ALONE = Recipe(
    low_a_hz=_LOW_A_HZ,
    notes=scale_notes("low A", duration_s=60.0),
    seed=7_201,
    rate_hz=_RATE_HZ,
    behaviour=still(),
)
_DRONES = replace(_ALONE, drones=DronePlan(level_db=90.0, tenor_cents=(200.0, -200.0)))
#: Partials that no other drone sounds near: of the bass an odd one, of the tenors the first.
_PARTIALS = {"bass": (5, 0.0), "tenor 1": (1, 200.0), "tenor 2": (1, -200.0)}


def _with(
    recipe: Recipe, *, common_cents: float = 0.0, chanter: SourceBehaviour = _SOLO, **drone: float
) -> Recipe:
    """The recipe with a still behaviour but for what is named; `drone` goes for all three drones."""
    source = replace(_SOLO, **drone)
    behaviour = PipeBehaviour(common_cents=common_cents, chanter=chanter, drones=(source,) * 3)
    return replace(recipe, behaviour=behaviour)


def _inner(recording: Recording) -> FloatArray:
    """The take without its lead and what follows at once, nor its very end."""
    return recording.samples[round(1.0 * _RATE_HZ) : round(60.0 * _RATE_HZ)].astype(float)


def _heard_drones(recipe: Recipe) -> dict[str, FloatArray]:
    """Cents of each drone about its planned pitch, heard in one of its partials."""
    samples = _inner(render(recipe)[0])
    heard = {}
    for name, (partial, cents) in _PARTIALS.items():
        fundamental = _BASS_HZ if name == "bass" else 2 * _BASS_HZ
        heard[name] = course_cents(
            samples, partial * fundamental * 2 ** (cents / 1200), _RATE_HZ, window_s=0.15
        )
    return heard


def _heard_chanter(recipe: Recipe) -> FloatArray:
    return course_cents(_inner(render(recipe)[0]), _LOW_A_HZ, _RATE_HZ, window_s=0.06)


@pytest.mark.parametrize("own_cents", [0.9, 2.5])
def test_drones_waver_by_the_rms_asked_and_each_by_itself(own_cents: float) -> None:
    heard = _heard_drones(_with(_DRONES, own_cents=own_cents))
    for course in heard.values():
        assert np.std(course) == pytest.approx(own_cents, rel=0.2)
    alike = np.corrcoef(list(heard.values()))
    assert np.abs(alike - np.eye(3)).max() < 0.35


def test_control_still_drones_do_not_move() -> None:
    for course in _heard_drones(_DRONES).values():
        assert np.std(course) < 0.3


def test_a_waver_has_an_arm_s_spectrum_where_it_is_heard() -> None:
    """Seven tenths and more below 2 Hz, next to nothing above 6 Hz."""
    course = _heard_chanter(_with(_ALONE, chanter=replace(_SOLO, own_cents=3.0)))
    power = np.abs(np.fft.rfft((course - course.mean()) * np.hanning(len(course)))) ** 2
    freq = np.fft.rfftfreq(len(course), STEP_S)
    assert np.sum(power[freq < 2.0]) / np.sum(power) > 0.7
    assert 1e-4 < np.sum(power[(freq > 3.0) & (freq < 6.2)]) / np.sum(power) < 0.1
    assert np.sum(power[freq > 6.5]) / np.sum(power) < 0.01


def test_the_bag_moves_all_alike_each_by_its_own_measure() -> None:
    """Correlation of bass, tenors and chanter near 1, and the swings in the ratio of the sensitivities."""
    recipe = _with(_DRONES, common_cents=2.0)
    assert recipe.behaviour is not None
    sources = tuple(replace(_SOLO, sensitivity=value) for value in (0.6, 1.0, 1.4))
    recipe = replace(recipe, behaviour=replace(recipe.behaviour, drones=sources))
    courses = list(_heard_drones(recipe).values())
    assert np.corrcoef(courses).min() > 0.98
    assert [np.std(course) / np.std(courses[1]) for course in courses] == pytest.approx(
        [0.6, 1, 1.4], rel=0.05
    )
    # The chanter of the same take moves with them, up or down by its own measure for the note.
    chanter = course_cents(
        _inner(render(replace(recipe, drones=None))[0]), _LOW_A_HZ, _RATE_HZ, window_s=0.15
    )
    assert np.corrcoef(chanter, courses[1])[0, 1] > 0.98
    assert 0.6 <= np.std(chanter) / np.std(courses[1]) <= 1.4


def test_drones_drift_by_the_cents_asked_in_ten_seconds() -> None:
    """Nine drones, on average; and slowly: a second's part of it is small."""
    recipe = _with(_DRONES, drift_cents=5.0)
    courses = [
        one for seed in range(7_230, 7_233) for one in _heard_drones(replace(recipe, seed=seed)).values()
    ]
    ranges = [range_in(course, 1 / STEP_S, 10.0) for course in courses]
    assert np.mean(ranges) == pytest.approx(5.0, rel=0.2)
    assert max(range_in(course, 1 / STEP_S, 1.0) for course in courses) < 1.5
    assert min(ranges) > 2.0


def test_drones_lie_about_their_planned_pitch() -> None:
    recipe = replace(_DRONES, behaviour=behaviour_for(7_202, degree="unsteady"))
    for course in _heard_drones(recipe).values():
        assert np.mean(course) == pytest.approx(0.0, abs=0.3)


def test_chanter_s_notes_drift_by_up_to_what_is_asked_in_six_seconds() -> None:
    """Each note its own way, at most 12 cents; some by more than half of it."""
    notes = scale_notes("B", "D", "F", "C", "E", "low A") * 3
    notes = tuple(replace(note, duration_s=6.0) for note in notes)
    recipe = _with(replace(_ALONE, notes=notes), chanter=replace(_SOLO, drift_cents=12.0))
    recording, truth = render(recipe)
    moved = []
    for event in truth.events[1:]:
        assert event.note is not None
        part = recording.samples[
            round((event.start_s + 0.2) * _RATE_HZ) : round((event.end_s - 0.05) * _RATE_HZ)
        ]
        course = course_cents(part, _LOW_A_HZ * recipe.scale.ratios[event.note], _RATE_HZ)
        moved.append(course[-20:].mean() - course[:20].mean())
    assert max(np.abs(moved)) < 12.0
    assert np.sum(np.abs(moved) > 6.0) >= 3
    assert min(moved) < -2.0 < 2.0 < max(moved)


@pytest.mark.parametrize("swing_db", [2.0, 5.0])
def test_levels_swing_by_what_is_asked(swing_db: float) -> None:
    """Range of the envelope in ten seconds, chanter and a single drone."""
    chanter = render(_with(_ALONE, chanter=replace(_SOLO, level_db=swing_db)))[0]
    bass_only = replace(_ALONE, drones=DronePlan(level_db=90.0, tenor_cents=()))
    bass = render(_with(bass_only, level_db=swing_db))[0]
    for recording in (chanter, bass):
        heard_db = range_in(level_db(_inner(recording), _RATE_HZ), 20.0, 10.0)
        assert heard_db == pytest.approx(swing_db, rel=0.4)
    # Control: nothing swings where nothing is asked.
    assert range_in(level_db(_inner(render(_ALONE)[0]), _RATE_HZ), 20.0, 10.0) < 0.1


def test_high_partials_swing_more_than_low_ones() -> None:
    recording, truth = render(_with(_ALONE, chanter=replace(_SOLO, level_db=4.0)))
    cycles = truth.chanter_cycles[round(_RATE_HZ) : round(60 * _RATE_HZ)]
    swings = [
        np.std(20 * np.log10(np.abs(against(_inner(recording), k * cycles, _RATE_HZ)))) for k in (1, 4, 8)
    ]
    assert swings[0] < swings[1] < swings[2]


def _crept(recipe: Recipe, partials: range) -> list[tuple[float, float]]:
    """Amplitude of each partial, and RMS change in two seconds of its phase against the true cycles."""
    recording, truth = render(recipe)
    cycles = truth.chanter_cycles[round(_RATE_HZ) : round(60 * _RATE_HZ)]
    found = []
    for k in partials:
        phasor = against(_inner(recording), k * cycles, _RATE_HZ)
        phase = np.unwrap(np.angle(phasor))
        moved = phase[100:] - phase[:-100]
        found.append((float(np.mean(np.abs(phasor))), float(np.sqrt(np.mean(moved**2)))))
    return found


def test_strong_partials_creep_by_the_radians_asked_and_weak_ones_by_more() -> None:
    crept = _crept(_with(_ALONE, chanter=replace(_SOLO, creep_rad=0.2)), range(1, 9))
    strongest = max(crept)
    assert strongest[1] == pytest.approx(0.2, rel=0.1)
    for amplitude, moved in crept:
        assert moved > 0.8 * strongest[1]
        if amplitude < strongest[0] / 5:
            assert moved > 1.5 * strongest[1]
    # Control: without creep every partial stays on the true cycles, whatever else moves.
    restless = replace(_SOLO, own_cents=3.0, drift_cents=8.0, level_db=3.0)
    for _, moved in _crept(_with(_ALONE, chanter=restless), range(1, 9)):
        assert moved < 0.02


def test_creep_leaves_a_pitch_defined_to_some_hundredths_of_a_cent() -> None:
    """Means over two seconds by the strongest partials differ from the common course by so much."""
    recording, truth = render(_with(_ALONE, chanter=replace(_SOLO, creep_rad=0.2)))
    cycles = truth.chanter_cycles[round(_RATE_HZ) : round(60 * _RATE_HZ)]
    off = []
    for k in (3, 4, 5):
        phase = np.unwrap(np.angle(against(_inner(recording), k * cycles, _RATE_HZ)))
        hz_off = (phase[100:] - phase[:-100]) / (2 * np.pi * k * 2.0)
        off.append(1200 / math.log(2) * hz_off / _LOW_A_HZ)
    assert 0.003 < np.sqrt(np.mean(np.square(off))) < 0.05


def _noise_of(recipe: Recipe, noise_db: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Clean sound, the noise that `noise_db` adds to it, and the true cycles, in one scale."""
    clean, truth = render(_with(recipe, noise_db=noise_db, chanter=_SOLO))
    noisy, _ = render(_with(recipe, noise_db=noise_db, chanter=replace(_SOLO, noise_db=noise_db)))
    wanted, mixed = _inner(clean), _inner(noisy)
    scale = float(wanted @ mixed / (wanted @ wanted))
    return (
        scale * wanted,
        mixed - scale * wanted,
        truth.chanter_cycles[round(_RATE_HZ) : round(60 * _RATE_HZ)],
    )


def test_breath_is_as_loud_as_asked_and_comes_with_the_reed() -> None:
    """Power by difference; its envelope follows the reed's openings; most of it about 2.5 kHz."""
    wanted, noise, cycles = _noise_of(_ALONE, -25.0)
    assert 10 * np.log10(np.mean(noise**2) / np.mean(wanted**2)) == pytest.approx(-25.0, abs=0.5)
    pace = np.corrcoef(noise**2, np.cos(2 * np.pi * cycles))[0, 1]
    assert pace > 0.2
    # Control: at another pace nothing of it is seen.
    assert abs(np.corrcoef(noise**2, np.cos(2 * np.pi * 1.003 * cycles))[0, 1]) < 0.02
    power = np.abs(np.fft.rfft(noise)) ** 2
    freq = np.fft.rfftfreq(len(noise), 1 / _RATE_HZ)
    octaves = [float(np.sum(power[(freq > low) & (freq < 2 * low)])) for low in (400.0, 800.0, 1_700.0)]
    assert octaves[0] < octaves[1] < octaves[2]


def test_the_usual_pipes_are_as_real_ones() -> None:
    """Over takes of many seeds: a drone's RMS in ten seconds, and a chanter's waver, as recordings show."""
    drones, notes = [], []
    for seed in range(7_210, 7_216):
        recipe = replace(
            _DRONES,
            seed=seed,
            notes=scale_notes("low A", "C", "E", duration_s=10.0),
            behaviour=behaviour_for(seed),
        )
        _, truth = render(recipe)
        for cycles in truth.drone_cycles.values():
            hz = np.diff(cycles[round(_RATE_HZ) : round(31 * _RATE_HZ) : 240]) * 50
            cents = 1200 * np.log2(hz / hz.mean())
            drones += [float(np.std(cents[at : at + 500])) for at in (0, 500, 1_000)]
        for event in truth.events[1:]:
            first, last = round((event.start_s + 0.5) * _RATE_HZ), round(event.end_s * _RATE_HZ)
            hz = np.diff(truth.chanter_cycles[first:last:240]) * 50
            notes.append(float(np.std(1200 * np.log2(hz / hz.mean()))))
    assert 2.0 < np.median(drones) < 3.0
    assert np.quantile(drones, 0.1) > 1.3
    assert np.quantile(drones, 0.9) < 4.5
    assert 0.8 < np.median(notes) < 4.0
    assert 0.2 < min(notes) < max(notes) < 7.0


def test_a_worse_day_moves_more() -> None:
    def moves(degree: str) -> tuple[float, float]:
        drawn = [behaviour_drawn(np.random.default_rng(seed), degree=degree) for seed in range(20)]
        cents = np.mean([one.common_cents + one.chanter.own_cents + one.drones[0].own_cents for one in drawn])
        return float(cents), float(np.mean([one.drones[1].level_db for one in drawn]))

    assert DEGREES == ("steady", "usual", "unsteady")
    for less, more in itertools.pairwise(DEGREES):
        assert all(a < b for a, b in zip(moves(less), moves(more), strict=True))


def test_drones_of_one_bagpipe_differ() -> None:
    assert len(set(behaviour_for(7_220).drones)) == 3


def test_the_seed_fixes_everything() -> None:
    recipe = replace(
        _DRONES,
        notes=scale_notes(duration_s=0.3),
        snr_db=30.0,
        rt60_s=0.3,
        graces=True,
        behaviour=behaviour_for(5),
    )
    assert behaviour_for(5) == behaviour_for(5) != behaviour_for(6)
    first, again, other = (render(one)[0].samples for one in (recipe, recipe, replace(recipe, seed=7_203)))
    assert np.array_equal(first, again)
    assert not np.array_equal(first[:1_000], other[:1_000])


@pytest.mark.parametrize("field", ["own_cents", "drift_cents", "level_db", "creep_rad"])
@pytest.mark.parametrize("value", [-0.1, math.nan, math.inf])
def test_what_is_less_than_nothing_is_refused(field: str, value: float) -> None:
    with pytest.raises(InputError, match=f"{field}: .* was given; 0 or more is needed"):
        replace(_SOLO, **{field: value})


def test_other_nonsense_is_refused() -> None:
    with pytest.raises(InputError, match="noise_db: nan was given"):
        replace(_SOLO, noise_db=math.nan)
    with pytest.raises(InputError, match="common_cents: -1 was given"):
        replace(still(), common_cents=-1.0)
    with pytest.raises(InputError, match="drones: none was given"):
        replace(still(), drones=())
    with pytest.raises(UnknownNameError, match=r"'ususal' was given.*Nearest that works: usual"):
        behaviour_for(1, degree="ususal")
