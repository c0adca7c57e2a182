"""A reed that fades by sittings: one exponential, with water in the cane and some recovery in a rest.

Water is a state of its own: it comes in minutes of blowing and goes in hours of rest. What a sitting takes
does not depend on how long it was.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from breaking_in.lives import Calendar, Life, Look, True3, calendar, slipped


@dataclass(slots=True, kw_only=True)
class _Reed:
    """How one reed answers."""

    new: float
    fall: float
    sittings: float
    pinch: float
    hard_dry: float
    springs: float
    low_a: float
    low_a_rise: float
    tilt: float
    tilt_rise: float
    pinch_cents: tuple[float, float]
    played: int = 0
    pinches: int = 0
    sets: list[tuple[float, float]] = field(default_factory=list)

    def now(self, water: float, rested_days: float, degc: float, rh: float) -> True3:
        """What it is, with so much water in it."""
        done = 1.0 - np.exp(-self.played / self.sittings)
        sprung = self.springs * self.fall * done * (1.0 - np.exp(-rested_days / 6.0))
        onset = (self.new - self.fall * done + sprung) * (1.0 - self.pinch) ** self.pinches
        onset *= 1.0 + self.hard_dry * (1.0 - water)
        moved = np.sum(self.sets, axis=0) if self.sets else np.zeros(2)
        low = self.low_a + self.low_a_rise * done + 4.0 * (1.0 - water) + 1.7 * (degc - 20.0)
        low += self.pinch_cents[0] * self.pinches + moved[0] - 0.03 * (rh - 60.0)
        tilt = self.tilt + self.tilt_rise * done + 1.0 * (1.0 - water)
        tilt += self.pinch_cents[1] * self.pinches + moved[1]
        return True3(onset_inh2o=float(onset), low_a_cents=float(low), tilt_cents=float(tilt))


def bench(seed: int) -> list[Life]:
    """Forty reeds of three lots on four chanters, as they stand on one day."""
    rng = np.random.default_rng([seed, 101])
    chanters = rng.normal(0.0, (9.0, 5.0), (4, 2))
    pitch, now = rng.normal(10.0, 15.0), 400.0
    lots = [_lot(rng) for _ in range(3)]
    found = []
    for number in range(40):
        lot = number % 3
        chanter = int(rng.integers(4))
        reed = _reed(rng, lots[lot], pitch, chanters[chanter])
        when = calendar(rng, now=now, degc=18.0, degc_sd=2.5)
        names = (f"{number}", f"lot {lot}", f"cut {lot % 2}", f"chanter {chanter}")
        found.append(_lived(rng, reed, when, names))
    return found


def _lot(rng: np.random.Generator) -> dict[str, float]:
    return {
        "new": rng.uniform(25.0, 33.0),
        "fall": rng.uniform(2.5, 6.0),
        "sittings": rng.uniform(3.0, 8.0),
        "rise": rng.uniform(-2.0, 10.0),
        "tilt": rng.normal(-4.0, 6.0),
    }


def _reed(rng: np.random.Generator, lot: dict[str, float], pitch: float, chanter: np.ndarray) -> _Reed:
    return _Reed(
        new=lot["new"] + rng.normal(0.0, 2.5),
        fall=lot["fall"] * rng.uniform(0.6, 1.4),
        sittings=lot["sittings"] * rng.uniform(0.7, 1.4),
        pinch=rng.uniform(0.04, 0.1),
        hard_dry=rng.uniform(0.02, 0.08),
        springs=rng.uniform(0.0, 0.25),
        low_a=pitch + chanter[0] + rng.normal(0.0, 8.0),
        low_a_rise=lot["rise"] + rng.normal(0.0, 3.0),
        tilt=lot["tilt"] + chanter[1] + rng.normal(0.0, 7.0),
        tilt_rise=rng.normal(4.0, 4.0),
        pinch_cents=(rng.uniform(1.0, 6.0), rng.uniform(2.0, 9.0)),
    )


def _lived(rng: np.random.Generator, reed: _Reed, when: Calendar, names: tuple[str, ...]) -> Life:
    water, last, looks, course = 0.0, when.sittings[0].day, [], []
    pending = list(when.handled)
    for sitting in when.sittings:
        while pending and pending[0][0] < sitting.day:
            if pending.pop(0)[1] == "pinch":
                reed.pinches += 1
            else:
                reed.sets.append((rng.normal(0.0, 6.0), rng.normal(0.0, 8.0)))
        rested = sitting.day - last
        water *= np.exp(-rested / 0.6)
        early = rng.random() < 0.3
        warm = rng.uniform(1.0, 4.0) if early else sitting.minutes
        if sitting.day in when.look_days and early:
            looks.append(_look(rng, reed, water, rested, warm, sitting.day, (sitting.degc, sitting.rh)))
        water = 1.0 - (1.0 - water) * np.exp(-sitting.minutes / 5.0)
        reed.played += 1
        if sitting.day in when.look_days and not early:
            looks.append(_look(rng, reed, water, 0.0, warm, sitting.day + 0.01, (sitting.degc, sitting.rh)))
        last = sitting.day
        course.append(reed.now(1.0, 0.0, 20.0, 60.0))
    return when.life(names, looks, course)


def _look(
    rng: np.random.Generator,
    reed: _Reed,
    water: float,
    rested: float,
    warm: float,
    day: float,
    room: tuple[float, float],
) -> Look:
    wet = 1.0 - (1.0 - water) * np.exp(-min(warm, 4.0) / 5.0) if rested else water
    truth = reed.now(wet, rested if warm < 4.0 else 0.0, *room)
    told = rng.random(4)
    return Look(
        day=day,
        onset_inh2o=max(2.0, slipped(rng, truth.onset_inh2o, 0.7, 5.0, 0.04)) if told[0] < 0.9 else None,
        low_a_cents=slipped(rng, truth.low_a_cents, 2.2, 15.0, 0.04) if told[1] < 0.85 else None,
        tilt_cents=slipped(rng, truth.tilt_cents, 2.5, 20.0, 0.04) if told[1] < 0.8 else None,
        warm_min=warm if told[2] < 0.7 else None,
        degc=room[0] if told[3] < 0.7 else None,
        rh=room[1] if told[3] < 0.5 else None,
    )
