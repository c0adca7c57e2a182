"""Makes chanters and reeds for the world of the resonant reed.

The bore is drawn about the Highland chanter's usual sizes (throat 4 mm, taper 1 in 20, exit 20 to 22 mm,
holes 4.5 to 7 mm through 5 mm of wood; from memory; staple 23.8 mm and 4 mm wide at its end, Gould-King's
rule), wobbly, with oval and undercut holes. As a maker does, each hole is then shifted until its note comes
out as drawn: in the scale but for a fault of its own, at a seat that is not the one the piper begins with.
Guarded by `tests/analytic/test_worlds.py`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import LOW_G, NOTES
from worlds.own_line import SPEED, Walls
from worlds.resonant_reed import OwnBore, OwnReed, ResonantReed, SilentNoteError
from worlds.world import OWN_NOTES, TARGETS_HZ, faults_drawn

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

#: The maker's patience, in rounds, how near is near, how boldly holes are shifted, and when in the hour.
_TUNINGS: Final = 20
_TUNED_CENTS: Final = 1.0
_GIVEN_UP_CENTS: Final = 8.0
_EASED: Final = 0.7
_TUNED_MIN: Final = 20.0
_LOWEST_VENT_MM: Final = 318.0
_APART_MM: Final = 7.0
_ATTEMPTS: Final = 80
_LEAP_CENTS: Final = 12.0


def resonant_reed(seed: int) -> ResonantReed:
    """Draw one that can be played: the next is taken where a note is silent or leaps as the seat moves."""
    for attempt in range(_ATTEMPTS):
        rng = np.random.default_rng([seed, 19, attempt])
        try:
            world = _drawn(rng)
            leaps = _leaps(world)
        except SilentNoteError:
            continue
        if leaps < _LEAP_CENTS:
            return world
    raise SilentNoteError


def _drawn(rng: np.random.Generator) -> ResonantReed:
    bore, reed = _wood(rng), _blades(rng)
    right_mm = float(np.clip(rng.normal(0.0, 1.0), -2.5, bore.gap_mm - 0.2))
    faults = faults_drawn(rng, 4.0, 4.0, low_g_sd=3.0)
    faults += rng.normal(0.0, 8.0)
    world = ResonantReed(
        bore=bore,
        reed=reed,
        closing_mm3=float(rng.uniform(2.0, 9.0)),
        walk_mm3=np.cumsum(rng.normal(0.0, 0.4, 120)),
        leaks_mm=float(rng.uniform(1.8, 3.5)),
        start_hz=TARGETS_HZ,
    )
    tuned = _tuned(world, right_mm, faults)
    # The piper's reed is not the maker's.
    own = replace(reed, cavity_mm3=reed.cavity_mm3 * rng.normal(1.0, 0.05))
    came = replace(tuned, reed=own)
    return replace(came, start_hz=came.hz(np.zeros(1), np.zeros((1, len(HOLES))), 0.0)[0])


def _wood(rng: np.random.Generator) -> OwnBore:
    holes = len(HOLES)
    places = np.array([0.0, 60.0, 150.0, 240.0, 325.0])
    wide = (4.0 + places / 20) * rng.normal(1.0, 0.02, places.size)
    usual = np.array([5.2, 4.4, 5.8, 6.4, 5.4, 6.6, 6.7, 6.6])
    return OwnBore(
        places_mm=places,
        radii_mm=wide / 2,
        at_mm=np.array([66.0, 84.0, 100.0, 119.0, 150.0, 168.0, 195.0, 226.0]),
        hole_mm=usual / 2 * rng.normal(1.0, 0.05, holes),
        # Undercutting shortens the way through the wood.
        wall_mm=rng.normal(5.0, 0.3, holes) * rng.uniform(0.75, 1.0, holes),
        tall=rng.uniform(0.85, 1.25, holes),
        strip=rng.uniform(0.7, 1.4, holes),
        vent_at_mm=298.0,
        vent_mm=float(rng.uniform(8.5, 10.0)),
        socket_mm=float(rng.uniform(4.8, 6.8)),
        gap_mm=float(rng.uniform(1.2, 3.5)),
        walls=Walls(rough=float(rng.uniform(1.2, 1.8))),
    )


def _blades(rng: np.random.Generator) -> OwnReed:
    return OwnReed(
        cavity_mm3=float(rng.uniform(120.0, 170.0)),
        spring_mm3=float(rng.uniform(80.0, 140.0)),
        own_hz=float(rng.uniform(2600.0, 4200.0)),
        damping=float(rng.uniform(0.3, 0.6)),
        tip_mm=float(rng.uniform(2.6, 2.9)),
        end_mm=4.0,
        duty=float(rng.uniform(0.15, 0.25)),
        fading=float(rng.uniform(0.5, 1.0)),
        inner_ohm=float(rng.uniform(0.7e8, 1.5e8)),
        squeezed=float(rng.normal(0.0, 0.01)),
    )


def _tuned(world: ResonantReed, right_mm: float, faults: FloatArray) -> ResonantReed:
    """Each note's hole is shifted until the note is where it shall be; low G's are the vents."""
    wanted = TARGETS_HZ * np.exp2(faults / 1200)
    seat, bare = np.array([right_mm]), np.zeros((1, len(HOLES)))
    world = replace(world, start_hz=wanted)
    for _ in range(_TUNINGS):
        off = 1200 * np.log2(world.hz(seat, bare, _TUNED_MIN)[0] / wanted)
        # A millimetre of half a wave, in cents.
        shift = _EASED * off / (1731.0 / (500 * SPEED / wanted))
        at = world.bore.at_mm + shift[OWN_NOTES]
        vent = min(world.bore.vent_at_mm + float(shift[NOTES.index(LOW_G)]), _LOWEST_VENT_MM)
        world = replace(world, bore=replace(world.bore, at_mm=at, vent_at_mm=vent))
        if np.abs(off).max() < _TUNED_CENTS:
            break
    if np.abs(off).max() > _GIVEN_UP_CENTS:
        raise SilentNoteError
    if np.any(np.diff([*world.bore.at_mm, world.bore.vent_at_mm]) < _APART_MM):
        raise SilentNoteError
    return world


def _leaps(world: ResonantReed) -> float:
    """The largest step of a note over a quarter of a millimetre of seat, cents."""
    seats = np.arange(-2.0, world.bottom_mm, 0.25)
    cents = world.cents(seats, np.zeros((seats.size, len(HOLES))), _TUNED_MIN)
    return float(np.abs(np.diff(cents, axis=0)).max())
