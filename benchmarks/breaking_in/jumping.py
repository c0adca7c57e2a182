"""A reed that gives way in jumps, rarer as it ages, and takes some of them back after a rest.

Some 2 to 6 inches of water are lost in the first five hours. Nothing is smooth: strength, low A and tilt each
go by steps, some of them together. A pinch springs half back within days. Nothing comes of the room.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from breaking_in.lives import Calendar, Life, Look, True3, calendar, slipped


@dataclass(slots=True, kw_only=True)
class _Jumper:
    """How often and how far it gives way, and where it is."""

    per_min: float
    ages_min: float
    jump: np.ndarray
    relapses: float
    at: np.ndarray
    played_min: float = 0.0
    newest: np.ndarray | None = None
    springing: np.ndarray | None = None


def bench(seed: int) -> list[Life]:
    """Forty reeds of two lots on three chanters."""
    rng = np.random.default_rng([seed, 202])
    chanters = rng.uniform(-12.0, 12.0, (3, 2))
    lots = [
        {
            "onset": rng.uniform(26.0, 34.0),
            "jump": rng.uniform(0.2, 0.65),
            "cents": rng.uniform(-0.4, 1.4),
            "tilt": rng.uniform(-0.8, 1.6),
        }
        for _ in range(2)
    ]
    found = []
    for number in range(40):
        lot, chanter = lots[number % 2], int(rng.integers(3))
        reed = _Jumper(
            per_min=rng.uniform(0.08, 0.2),
            ages_min=rng.uniform(25.0, 90.0),
            jump=np.array([-lot["jump"], lot["cents"], lot["tilt"]]),
            relapses=rng.uniform(0.1, 0.5),
            at=np.array(
                [
                    lot["onset"] + rng.uniform(-4.0, 4.0),
                    -15.0 + chanters[chanter, 0] + rng.uniform(-12.0, 12.0),
                    -6.0 + chanters[chanter, 1] + rng.uniform(-14.0, 14.0),
                ]
            ),
        )
        when = calendar(rng, now=900.0, degc=19.0, degc_sd=2.0, set_anew=0.25)
        names = (f"{number}", f"lot {number % 2}", f"cut {number % 2}", f"chanter {chanter}")
        found.append(_lived(rng, reed, when, names))
    return found


def _played(rng: np.random.Generator, reed: _Jumper, minutes: float) -> None:
    """Jumps of a sitting, minute by minute."""
    for _ in range(int(minutes)):
        reed.played_min += 1.0
        if rng.random() < reed.per_min / (1.0 + reed.played_min / reed.ages_min):
            reed.newest = reed.jump * rng.exponential(1.0, 3) * (rng.random(3) < (0.8, 0.6, 0.6))
            reed.at = reed.at + reed.newest
        elif rng.random() < 0.0006:
            # Once in a long while, whatever its age.
            reed.at = reed.at + np.array([-rng.uniform(0.8, 2.5), rng.normal(0.0, 4.0), rng.normal(0.0, 5.0)])


def _rested(rng: np.random.Generator, reed: _Jumper, days: float) -> None:
    if reed.springing is not None:
        back = reed.springing * (1.0 - 0.6**days)
        reed.at, reed.springing = reed.at + back, reed.springing - back
    if days > 2.0 and reed.newest is not None and rng.random() < reed.relapses:
        reed.at = reed.at - reed.newest * rng.uniform(0.3, 0.8)
        reed.newest = None


def _lived(rng: np.random.Generator, reed: _Jumper, when: Calendar, names: tuple[str, ...]) -> Life:
    last, looks, pending, course = when.sittings[0].day, [], list(when.handled), []
    for sitting in when.sittings:
        _rested(rng, reed, sitting.day - last)
        while pending and pending[0][0] < sitting.day:
            if pending.pop(0)[1] == "pinch":
                pinched = np.array([-rng.uniform(1.0, 4.5), rng.uniform(0.0, 9.0), rng.uniform(0.0, 12.0)])
                reed.at, reed.springing = reed.at + pinched, -0.5 * pinched * rng.random()
            else:
                reed.at = reed.at + np.array([0.0, rng.uniform(-12.0, 12.0), rng.uniform(-18.0, 18.0)])
        _played(rng, reed, sitting.minutes)
        last = sitting.day
        onset, low_a, tilt = (float(one) for one in reed.at)
        course.append(True3(onset_inh2o=onset, low_a_cents=low_a, tilt_cents=tilt))
        if sitting.day in when.look_days:
            told = rng.random(3)
            looks.append(
                Look(
                    day=sitting.day + 0.01,
                    onset_inh2o=max(2.0, slipped(rng, reed.at[0], 0.9, 4.0, 0.06)) if told[0] < 0.9 else None,
                    low_a_cents=slipped(rng, reed.at[1], 2.0, 12.0, 0.05) if told[1] < 0.9 else None,
                    tilt_cents=slipped(rng, reed.at[2], 2.8, 14.0, 0.05) if told[1] < 0.85 else None,
                    warm_min=sitting.minutes if told[2] < 0.5 else None,
                    degc=None,
                    rh=None,
                )
            )
    return when.life(names, looks, course)
