"""Made-up reeds with short lives, for tests of the forecasts; no truth of theirs is drawn from the priors."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.reeds.forecasts.history import Handling, MouthReading, PlayedSpell, ReedHistory, ReedReading

if TYPE_CHECKING:
    from collections.abc import Sequence

FIRST: Final = datetime(2031, 3, 1, 19, tzinfo=UTC)
_DAY: Final = timedelta(days=1)


def lived_reed(seed: int, *, by_mouth: bool) -> tuple[ReedHistory, datetime]:
    """A reed read two to nine times in four weeks, pinched or set anew now and then, and the day after."""
    rng = np.random.default_rng([seed, 77])
    days = np.flatnonzero(rng.random(28) < 0.6)
    played = tuple(PlayedSpell(at=FIRST + int(day) * _DAY, minutes=float(rng.uniform(5, 20))) for day in days)
    count = int(rng.integers(2, 10))
    readings, felt = [], []
    for day in sorted(rng.choice(days, min(count, len(days)), replace=False)):
        at = FIRST + int(day) * _DAY + timedelta(hours=1)
        fallen = 1.0 - 0.5 ** (day / 6.0)
        slip = 8.0 if rng.random() < 0.08 else 1.0
        if by_mouth:
            over = 6.6 - 1.1 * fallen + rng.normal(0.0, 0.3) - 6.0
            word = "weaker" if over < -0.25 else "stronger" if over > 0.25 else "same"
            felt.append(MouthReading(at=at, words=word, than_kpa=6.0, than_sd_kpa=0.1))
            continue
        readings.append(
            ReedReading(
                at=at,
                strength_kpa=max(0.5, 6.6 - 1.1 * fallen + rng.normal(0.0, 0.18) * slip),
                low_a_cents=12.0 + 6.0 * fallen + rng.normal(0.0, 2.0) * slip,
                tilt_cents=-8.0 + 5.0 * fallen + rng.normal(0.0, 2.5) * slip,
                warm_min=15.0,
                room_degc=float(rng.uniform(16, 23)) if rng.random() < 0.7 else None,
                room_rh=60.0,
            )
        )
    handled: tuple[Handling, ...] = ()
    if seed % 3 == 0:
        handled = (Handling(at=FIRST + 9 * _DAY, what="pinch"),)
    if seed % 5 == 0:
        handled = (*handled, Handling(at=FIRST + 12 * _DAY, what="set"))
    history = ReedHistory(
        number=str(seed),
        lot="a",
        played=played,
        readings=tuple(readings),
        by_mouth=tuple(felt),
        handled=handled,
    )
    return history, FIRST + 29 * _DAY


def lot_of(seeds: Sequence[int], *, lot: str = "a", chanter: str = "one") -> list[ReedHistory]:
    """Several, of one lot on one chanter."""
    return [
        ReedHistory(
            number=f"{lot} {one.number}",
            lot=lot,
            chanter=chanter,
            played=one.played,
            readings=one.readings,
            handled=one.handled,
        )
        for one, _ in (lived_reed(seed, by_mouth=False) for seed in seeds)
    ]
