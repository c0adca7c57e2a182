"""An invented band's season in a ledger of its own: for trying everything on, never mixed with real data.

The town of Ellerquay, its band and all names, dates and sounds are invented; pitches are computed from the
generic chanter with drawn sizes. Guarded by `tests/doors/test_demo_season.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import InputError
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.fit_reed import Place, fit_reed
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.type_take import Typed
from canebench.bench.acts.reeds.chanters import keep_chanter
from canebench.bench.acts.reeds.people import set_player
from canebench.bench.acts.reeds.reed_days import ease_reed, log_strength, play_reed
from canebench.bench.acts.reeds.stock import move_reed, take_in_lot
from canebench.bore.chanter_file import generic
from canebench.bore.gas.air import BREATH
from canebench.bore.instrument import pitches_hz
from canebench.bore.unknowns import Unknowns
from canebench.store.ledger import open_ledger

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.store.ledger import Ledger

BAND: Final = "Ellerquay and District"
_PLAYERS: Final = (
    ("Isla Penhallow", "27 inH2O", "31 inH2O"),
    ("Rory Tamlin", "30 inH2O", "35 inH2O"),
    ("Effie Garrow", "24 inH2O", "28 inH2O"),
    ("Coll Brannock", "32 inH2O", "36 inH2O"),
)
_START: Final = datetime(2026, 3, 2, 19, 0, tzinfo=UTC)
_SESSIONS: Final = 8
_WHO: Final = "Isla Penhallow (demo)"
_MARK: Final = ".canebench-demo"


@dataclass(slots=True)
class _Clock:
    """Time in the demo: it moves a minute with every act, and a few days between sessions."""

    now: datetime = _START

    def __call__(self) -> datetime:
        self.now += timedelta(minutes=1)
        return self.now


def make_demo(folder: Path) -> Path:
    """Fill a new ledger in `folder`, which must be new or empty; the ledger's path."""
    if folder.exists() and any(folder.iterdir()):
        raise InputError(
            field="demo",
            given=str(folder),
            allowed="a new or empty folder is filled, so that nothing real is touched",
            nearest="another folder, or canebench demo --remove for an earlier demo",
        )
    folder.mkdir(parents=True, exist_ok=True)
    (folder / _MARK).write_text("An invented season, made by canebench. Safe to remove.\n", encoding="utf-8")
    path, clock = folder / "ledger.db", _Clock()
    ledger = open_ledger(str(path), clock=clock)
    rng = np.random.default_rng(11)
    for name, blows, ceiling in _PLAYERS:
        set_player(ledger, name, who=_WHO, blows=blows, ceiling=ceiling)
    take_in_lot(ledger, who=_WHO, name="spring", count=12, bought_on="2026-03-01", cane="straight, medium")
    for i, (player, blows, _) in enumerate(_PLAYERS, 1):
        keep_chanter(ledger, f"number {i}", who=_WHO, sizes=None)
        _one_reed(
            ledger, clock, rng, reed=str(i), chanter=f"number {i}", player=player, inches=float(blows[:2])
        )
    for number in range(len(_PLAYERS) + 1, 11):
        pressure = f"{rng.uniform(22, 38):.0f} inH2O"
        log_strength(ledger, str(number), {"playing": pressure}, who=_WHO)
    clock.now += timedelta(days=20)
    take_in_lot(ledger, who=_WHO, name="summer", count=6, bought_on="2026-05-20", cane="straight, strong")
    return path


def remove_demo(folder: Path) -> int:
    """Remove a demo that `make_demo` made, and nothing else; how many files that were."""
    if not (folder / _MARK).is_file():
        raise InputError(
            field="demo", given=str(folder), allowed="only a folder that a demo was made in is removed"
        )
    files = [path for path in folder.rglob("*") if path.is_file()]
    for path in files:
        path.unlink()
    for path in sorted((path for path in folder.rglob("*") if path.is_dir()), reverse=True):
        path.rmdir()
    folder.rmdir()
    return len(files)


def _one_reed(
    ledger: Ledger,
    clock: _Clock,
    rng: np.random.Generator,
    *,
    reed: str,
    chanter: str,
    player: str,
    inches: float,
) -> None:
    """From the box to settled: graded, on trial, fitted in two rounds, eased if strong, broken in."""
    strength = inches + rng.uniform(1.0, 5.0)
    told = {"onset": f"{strength - 4:.0f} inH2O", "playing": f"{strength:.0f} inH2O"}
    log_strength(ledger, reed, told, who=_WHO, player=player)
    move_reed(ledger, reed, to="on trial", reason=f"a little above what {player} blows", who=_WHO)
    place = Place(reed=reed, chanter=chanter, player=player)
    unknowns = Unknowns(start=generic(), conditions=BREATH)
    drawn = 0.6 * rng.normal(size=len(unknowns.names))
    drawn[-len(NOTES) :] = 0.0
    setting = Setting()
    for _ in range(2):
        hz = pitches_hz(unknowns.instrument(drawn), [setting])[0]
        readings = {note: Typed(value=round(float(hz[i]), 1), unit="Hz") for i, note in enumerate(NOTES)}
        request = FitRequest(
            heard=readings,
            seat_mm=setting.seat_mm,
            tape_mm=setting.tape_mm,
            pinches=0,
            room_degc=round(float(rng.uniform(14, 20)), 1),
            room_rh=55.0,
        )
        fitted = fit_reed(ledger, request, place=place, who=_WHO)
        if fitted.plan is None or not fitted.plan.steps:
            break
        setting = fitted.plan.setting
    if strength > inches + 4:
        ease_reed(ledger, reed, how="pinch", who=_WHO)
    move_reed(ledger, reed, to="breaking in", reason="in balance, still strong", who=_WHO)
    evening = clock.now
    for session in range(_SESSIONS):
        clock.now = evening + timedelta(days=3 * (session + 1))
        play_reed(ledger, reed, minutes=float(min(25, 6 + 3 * session)), who=_WHO)
        pressure = f"{strength - 2.5 * (1 - np.exp(-(session + 1) / 4)):.0f} inH2O"
        log_strength(ledger, reed, {"playing": pressure}, who=_WHO, player=player)
    move_reed(ledger, reed, to="settled", reason="strength and pitch still for three sessions", who=_WHO)
    clock.now = evening
