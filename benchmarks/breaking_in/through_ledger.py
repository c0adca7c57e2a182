"""The same worlds through a ledger: rows as a bench writes them, told as `canebench forecast --lot` does.

What is known of them is what rows hold: some reeds are read at onset, some while they play, some at both.
What share of playing onset is differs from bench to bench and from reed to reed, 0.68 to 0.92, by no rule of
the model's. The command's own defaults: 14 days, played on as it was, whatever comes. Strength by mouth alone
(the slowing world) is left out. Run by `benchmarks/run`, as `python -m breaking_in.through_ledger` there.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from breaking_in.run import WORLDS
from canebench.base.pressure import PressureUnit, to_kpa
from canebench.bench.views.ahead.foretold import lot_foretold
from canebench.bench.views.ahead.histories import REFERENCE_HZ
from canebench.bench.views.ahead.kept_word import kept_word
from canebench.store.ledger import open_ledger
from canebench.store.values import written

if TYPE_CHECKING:
    from collections.abc import Sequence

    from breaking_in.lives import Life
    from canebench.bench.views.ahead.foretold import Line
    from canebench.reeds.forecasts.mixture import Foretold
    from canebench.store.ledger import Ledger
    from canebench.store.tables import Row
    from canebench.store.writer import Writer

_FIRST: Final = datetime(2031, 1, 1, 18, tzinfo=UTC)
_FIRST_SEED, _BENCHES = 7000, 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One forecast of one reed: whether its intervals held the truth, and the median's error."""

    what: str
    in_80: bool
    in_95: bool
    error: float


def _at(day: float) -> str:
    return written(_FIRST + timedelta(days=day))


def _shares(lives: Sequence[Life], seed: int) -> dict[str, float]:
    """Onset over playing of each reed: uniform about its bench's."""
    rng = np.random.default_rng([seed, 77])
    usual = rng.uniform(0.73, 0.87)
    return {life.number: float(usual + rng.uniform(-0.05, 0.05)) for life in lives}


def written_down(ledger: Ledger, lives: Sequence[Life], shares: dict[str, float], seed: int) -> None:
    """A bench's lives as rows."""
    rng = np.random.default_rng([seed, 78])
    with ledger.act("import", who="world", said="a bench") as act:
        lots = {life.lot: life.cut for life in lives}
        ids = {
            name: act.insert("lots", {"name": name, "count": 99, "cut": cut}) for name, cut in lots.items()
        }
        chanters = {
            name: act.insert("chanters", {"name": name})
            for name in dict.fromkeys(life.chanter for life in lives)
        }
        for life in lives:
            reed: Row = {
                "number": life.number,
                "lot_id": ids[life.lot],
                "state": "breaking in",
                "state_since": _at(0),
            }
            _reed(act, act.insert("reeds", reed), chanters[life.chanter], life, shares[life.number], rng)


def _reed(act: Writer, reed: int, chanter: int, life: Life, share: float, rng: np.random.Generator) -> None:
    seat: Row = {"reed_id": reed, "chanter_id": chanter, "seat_mm": 0.0}
    act.insert("settings", {**seat, "at": _at(-60.0)})
    for day, what in life.handled:
        if what == "pinch":
            act.insert("eases", {"reed_id": reed, "at": _at(day), "how": "pinch"})
        else:
            act.insert("settings", {**seat, "at": _at(day)})
    for one in life.sittings:
        if one.logged_minutes is not None:
            act.insert("plays", {"reed_id": reed, "at": _at(one.day), "minutes": one.logged_minutes})
    how = rng.choice(["onset", "playing", "both"])
    for look in life.looks:
        if look.onset_inh2o is not None:
            onset = to_kpa(look.onset_inh2o, PressureUnit.INH2O)
            # A gauge that is read while playing scatters by itself.
            playing = onset / share + rng.normal(0.0, 0.12)
            told = {"onset_kpa": onset, "playing_kpa": playing}
            wanted = {f"{how}_kpa"} if how != "both" else set(told)
            row = {name: kpa for name, kpa in told.items() if name in wanted}
            act.insert("strengths", {"reed_id": reed, "at": _at(look.day), "given_unit": "inH2O", **row})
        if look.low_a_cents is not None and look.tilt_cents is not None:
            take = act.insert(
                "takes",
                {
                    "reed_id": reed,
                    "chanter_id": chanter,
                    "at": _at(look.day),
                    "origin": "typed",
                    "source": "typed",
                    "scale": "harmonic",
                    "reference": "fixed",
                    "reference_hz": REFERENCE_HZ,
                    "reference_sd_hz": 0.0,
                    "room_degc": look.degc,
                    "room_rh": look.rh,
                    "warm_min": look.warm_min,
                },
            )
            low = REFERENCE_HZ * 2.0 ** (look.low_a_cents / 1200.0)
            high = 2.0 * low * 2.0 ** (look.tilt_cents / 1200.0)
            for note, hz in (("low A", low), ("high A", high)):
                act.insert("pitches", {"take_id": take, "note": note, "hz": hz})


def judged(world: str, seed: int, folder: Path) -> tuple[list[Held], float, tuple[int, int]]:
    """Every forecast of one bench beside what came; s of processor time a lot; how many of its own held."""
    lives = WORLDS[world](seed)
    shares = _shares(lives, seed)
    now = _FIRST + timedelta(days=lives[0].now)
    ledger = open_ledger(str(folder / f"{world}{seed}.db"), clock=lambda: now)
    written_down(ledger, lives, shares, seed)
    by_number = {life.number: life for life in lives}
    found, lots = [], sorted({life.lot for life in lives})
    began = time.process_time()
    told = [one for lot in lots for one in lot_foretold(ledger, lot, days=[14.0])]
    took = (time.process_time() - began) / len(lots)
    for one in told:
        life = by_number[one.reed.number]
        if life.looks:
            found += _held(one.lines[1], life, shares[life.number])
    kept = kept_word(ledger).said
    return found, took, (sum(one.within_80 for one in kept), len(kept))


def _held(line: Line, life: Life, share: float) -> list[Held]:
    then = life.then
    told: list[tuple[str, Foretold, float]] = [
        ("low A, cents", line.low_a_cents, then.low_a_cents),
        ("tilt, cents", line.tilt_cents, then.tilt_cents),
    ]
    if any(look.onset_inh2o is not None for look in life.looks):
        truth = to_kpa(then.onset_inh2o, PressureUnit.INH2O) / share
        told.append(("plays at, kPa", line.plays_kpa, truth))
    return [
        Held(
            what=what,
            in_80=one.low_80 <= truth <= one.high_80,
            in_95=one.low_95 <= truth <= one.high_95,
            error=abs(one.median - truth),
        )
        for what, one, truth in told
    ]


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--benches", type=int, default=_BENCHES, help="benches of forty reeds a world")
    options.add_argument("--first-seed", type=int, default=_FIRST_SEED)
    asked = options.parse_args()
    print("Forecasts two weeks ahead from a ledger, as `canebench forecast --lot` tells them")
    print(f"  {'':26}{'reeds':>6}{'80 %':>8}{'95 %':>8}{'error':>8}   asked: 75 to 85, 92 to 98")
    with tempfile.TemporaryDirectory() as folder:
        for world in WORLDS:
            rows, took, kept = [], [], np.zeros(2, dtype=int)
            for seed in range(asked.first_seed, asked.first_seed + asked.benches):
                found, seconds, held = judged(world, seed, Path(folder))
                rows += found
                took.append(seconds)
                kept += held
            for what in ("plays at, kPa", "low A, cents", "tilt, cents"):
                some = [one for one in rows if one.what == what]
                if some:
                    share_80, share_95 = (
                        100.0 * np.mean([getattr(one, name) for one in some]) for name in ("in_80", "in_95")
                    )
                    error = np.median([one.error for one in some])
                    print(f"  {world:12}{what:14}{len(some):6d}{share_80:8.1f}{share_95:8.1f}{error:8.2f}")
            print(
                f"  {world:12}{np.median(took):.2f} s of processor time a lot; `--kept` scored {kept[1]}"
                f" forecasts, of which {100.0 * kept[0] / max(1, kept[1]):.1f} % held at 80 %"
            )


if __name__ == "__main__":
    main()
