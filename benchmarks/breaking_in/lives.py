"""What every world makes: benches of reeds whose lives were logged as a piper would, and their truth.

No world imports anything of `canebench`: pressures are inches of water, times are days and minutes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Forecasts are judged so many days ahead.
AHEAD_DAYS: Final = 14.0
#: Readings of every third reed end after so many.
FEW: Final = 2
MOST: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Sitting:
    """An evening with a reed: what was played, truly and by the log (None where that was forgotten)."""

    day: float
    minutes: float
    logged_minutes: float | None
    degc: float
    rh: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A reading as it was written down; None for what was not read."""

    day: float
    onset_inh2o: float | None
    low_a_cents: float | None
    tilt_cents: float | None
    warm_min: float | None
    degc: float | None
    rh: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Felt:
    """Strength by mouth against a reed of known strength."""

    day: float
    word: str
    than_inh2o: float


@dataclass(frozen=True, slots=True, kw_only=True)
class True3:
    """What a reed truly is, moist, at 20 °C and 60 %: inches of water, cents, cents."""

    onset_inh2o: float
    low_a_cents: float
    tilt_cents: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """A reed as the bench knows it on the day `now`, what is planned for it, and what comes of that.

    `course` is what it truly was after each sitting, with those of `planned`, which are still to come.
    """

    number: str
    lot: str
    cut: str
    chanter: str
    now: float
    sittings: tuple[Sitting, ...]
    looks: tuple[Look, ...]
    felt: tuple[Felt, ...]
    handled: tuple[tuple[float, str], ...]
    planned_minutes: float
    then: True3
    course: tuple[True3, ...]
    planned: tuple[Sitting, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Calendar:
    """When a reed is played and read: sittings up to now and past it, days of looks, pinches."""

    sittings: tuple[Sitting, ...]
    look_days: frozenset[float]
    handled: tuple[tuple[float, str], ...]
    now: float

    def life(
        self,
        names: Sequence[str],
        looks: Sequence[Look],
        course: Sequence[True3],
        felt: Sequence[Felt] = (),
    ) -> Life:
        """What the bench knows by now of a reed that lived by it.

        `names` are its own, its lot's, its cut's and its chanter's; `course` what it was after each sitting.
        """
        number, lot, cut, chanter = names
        ahead = [one for one in self.sittings if self.now <= one.day < self.now + AHEAD_DAYS]
        return Life(
            number=number,
            lot=lot,
            cut=cut,
            chanter=chanter,
            now=self.now,
            sittings=tuple(one for one in self.sittings if one.day < self.now),
            looks=tuple(looks),
            felt=tuple(felt),
            handled=self.handled,
            planned_minutes=sum(one.logged_minutes or 0.0 for one in ahead),
            then=course[-1],
            course=tuple(course),
            planned=tuple(ahead),
        )


def calendar(
    rng: np.random.Generator,
    *,
    now: float,
    degc: float,
    degc_sd: float,
    log_sd: float = 0.0,
    forgotten: float = 0.0,
    set_anew: float = 0.1,
    pinched: float = 0.35,
) -> Calendar:
    """A reed that was begun one to eight weeks ago and is played on for two weeks, unevenly."""
    start = now - rng.uniform(5.0, 55.0)
    often = rng.uniform(0.25, 0.9)
    length = rng.uniform(8.0, 18.0)
    days = np.arange(start, now + AHEAD_DAYS, 1.0) + rng.uniform(-0.08, 0.08)
    days = days[(rng.random(len(days)) < often) & ((days < now - 0.2) | (days > now + 0.2))]
    days = days[days < now + AHEAD_DAYS - 0.05]
    if not (days < now).sum() >= FEW:
        days = np.unique(np.concatenate([[start + 0.1, start + 1.1], days]))
    sittings = []
    for day in days:
        minutes = float(length * rng.uniform(0.5, 1.5) * min(1.6, 0.6 + 0.03 * (day - start)))
        logged: float | None = minutes
        if log_sd:
            logged = max(5.0, 5.0 * round(minutes * np.exp(rng.normal(0.0, log_sd)) / 5.0))
        if rng.random() < forgotten and day < now:
            logged = None
        sittings.append(
            Sitting(
                day=float(day),
                minutes=minutes,
                logged_minutes=logged,
                degc=float(degc + rng.normal(0.0, degc_sd)),
                rh=float(np.clip(rng.normal(60.0, 10.0), 25.0, 95.0)),
            )
        )
    before = [one.day for one in sittings if one.day < now]
    count = FEW if rng.random() < 0.35 else int(rng.integers(FEW, MOST + 1))
    looks = frozenset(rng.choice(before, min(count, len(before)), replace=False).tolist())
    return Calendar(
        sittings=tuple(sittings),
        look_days=looks,
        handled=tuple(_handled(rng, before, set_anew, pinched)),
        now=now,
    )


def _handled(
    rng: np.random.Generator, before: list[float], set_anew: float, pinched: float
) -> list[tuple[float, str]]:
    """Pinches and settings, an hour before a sitting."""
    found = [
        (float(rng.choice(before[1:])) - 0.04, "pinch")
        for _ in range(3)
        if rng.random() < pinched and len(before) > 2
    ]
    if rng.random() < set_anew and len(before) > 2:
        found.append((float(rng.choice(before[1:])) - 0.045, "set"))
    return sorted(set(found))


def slipped(rng: np.random.Generator, value: float, sd: float, slip_sd: float, share: float) -> float:
    """A value as it was read: with scatter, and now and then with a slip."""
    return float(value + rng.normal(0.0, slip_sd if rng.random() < share else sd))
