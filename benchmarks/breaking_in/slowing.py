"""A reed that never quite ends: a power of the minutes, logged badly, strength told by mouth alone.

Minutes are logged to five and a third out, and one sitting in seven is forgotten. Rooms go from cold to
warm; pitch follows the root of the absolute temperature, as sound does, less what breath warms.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from breaking_in.lives import Calendar, Felt, Life, Look, True3, calendar, slipped


@dataclass(slots=True, kw_only=True)
class _Slow:
    """How one reed answers."""

    firm: float
    fall: float
    from_min: float
    power: float
    low_a: float
    low_a_fall: float
    tilt: float
    tilt_fall: float
    softens: float
    breath: float
    played_min: float = 0.0
    pinched: float = 0.0
    cents: tuple[float, float] = (0.0, 0.0)

    def now(self, degc: float) -> True3:
        """At a temperature of the room."""
        left = (1.0 + self.played_min / self.from_min) ** -self.power
        onset = (self.firm + self.fall * left) * np.exp(-self.pinched) * (1.0 - self.softens * (degc - 20.0))
        air = 1200.0 * np.log2(np.sqrt((273.15 + degc) / 293.15))
        low = self.low_a + self.low_a_fall * left + self.breath * air + self.cents[0]
        tilt = self.tilt + self.tilt_fall * left**2 + self.cents[1]
        return True3(onset_inh2o=float(onset), low_a_cents=float(low), tilt_cents=float(tilt))


def bench(seed: int) -> list[Life]:
    """Forty reeds of two lots on three chanters, and two old reeds that they are held against."""
    rng = np.random.default_rng([seed, 303])
    chanters = rng.normal(0.0, (7.0, 7.0), (3, 2))
    firm, fall, power = rng.uniform(19.0, 24.0, 2), rng.uniform(4.0, 8.0, 2), rng.uniform(0.35, 0.9, 2)
    falls = rng.uniform(-14.0, 2.0, (2, 2))
    against = rng.uniform(22.0, 28.0, 2)
    found = []
    for number in range(40):
        lot, chanter = number % 2, int(rng.integers(3))
        reed = _Slow(
            firm=firm[lot] + rng.normal(0.0, 2.2),
            fall=fall[lot] * rng.uniform(0.6, 1.5),
            from_min=rng.uniform(6.0, 25.0),
            power=power[lot] * rng.uniform(0.8, 1.25),
            low_a=25.0 + chanters[chanter, 0] + rng.normal(0.0, 9.0),
            low_a_fall=falls[lot, 0] + rng.normal(0.0, 4.0),
            tilt=chanters[chanter, 1] + rng.normal(0.0, 9.0),
            tilt_fall=falls[lot, 1] + rng.normal(0.0, 4.0),
            softens=rng.uniform(0.0, 0.006),
            breath=rng.uniform(0.4, 0.7),
        )
        when = calendar(rng, now=250.0, degc=16.0, degc_sd=5.0, log_sd=0.35, forgotten=0.14)
        names = (f"{number}", f"lot {lot}", f"cut {lot}", f"chanter {chanter}")
        found.append(_lived(rng, reed, when, names, against))
    return found


def _lived(
    rng: np.random.Generator, reed: _Slow, when: Calendar, names: tuple[str, ...], against: np.ndarray
) -> Life:
    looks, felt, pending, course = [], [], list(when.handled), []
    for sitting in when.sittings:
        while pending and pending[0][0] < sitting.day:
            if pending.pop(0)[1] == "pinch":
                reed.pinched += rng.gamma(4.0, 0.018)
                reed.cents = (reed.cents[0] + rng.gamma(3.0, 1.5), reed.cents[1] + rng.gamma(3.0, 2.0))
            else:
                reed.cents = (reed.cents[0] + rng.normal(0.0, 8.0), reed.cents[1] + rng.normal(0.0, 10.0))
        reed.played_min += sitting.minutes
        course.append(reed.now(20.0))
        if sitting.day in when.look_days:
            truth, told = reed.now(sitting.degc), rng.random(3)
            held = float(rng.choice(against))
            if told[0] < 0.9:
                felt.append(
                    Felt(day=sitting.day + 0.01, word=_word(rng, truth.onset_inh2o / held), than_inh2o=held)
                )
            looks.append(
                Look(
                    day=sitting.day + 0.01,
                    onset_inh2o=None,
                    low_a_cents=slipped(rng, truth.low_a_cents, 2.5, 18.0, 0.05) if told[1] < 0.85 else None,
                    tilt_cents=slipped(rng, truth.tilt_cents, 3.0, 18.0, 0.05) if told[1] < 0.85 else None,
                    warm_min=None,
                    degc=round(sitting.degc) if told[2] < 0.8 else None,
                    rh=None,
                )
            )
    return when.life(names, looks, course, felt)


def _word(rng: np.random.Generator, ratio: float) -> str:
    """As a mouth tells it: by ratios, each time a little differently, and one in thirty the wrong way."""
    if rng.random() < 1.0 / 30.0:
        return str(rng.choice(["weaker", "same", "stronger"]))
    heard = np.log(ratio) + rng.normal(0.0, 0.06)
    if heard < -0.045:
        return "weaker"
    return "stronger" if heard > 0.045 else "same"
