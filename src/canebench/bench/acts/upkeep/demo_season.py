"""An invented band's season in a ledger of its own: for trying everything on, never mixed with real data.

The town of Ellerquay, its band and all names, dates and sounds are invented. It is a shop in good order: the
reeds that are finished are in tune, none is spoilt, and each verdict of a plan has a reed that teaches it
(`demo_reeds`). Guarded by `tests/doors/test_demo_season.py`.
"""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.disk.owner_only import make_file, make_folder
from canebench.base.errors import CanebenchError, InputError
from canebench.base.notes import LOW_A, NOTES
from canebench.base.scales import DEFAULT_SCALE
from canebench.base.sentences import cannot
from canebench.base.units import cents_to_hz
from canebench.bench.acts.fitting.fit_reed import Place, fit_reed
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.model_effects import model_effects
from canebench.bench.acts.fitting.type_take import Typed
from canebench.bench.acts.ledger import named, reed_numbered
from canebench.bench.acts.reeds.chanters import keep_chanter
from canebench.bench.acts.reeds.people import set_player
from canebench.bench.acts.reeds.reed_days import ease_reed, log_strength, play_reed
from canebench.bench.acts.reeds.stock import move_reed, take_in_lot
from canebench.bench.acts.upkeep.demo_reeds import REEDS, DemoReed
from canebench.bore.chanter_file import generic
from canebench.fitting.effects import SEAT
from canebench.reeds.states import State
from canebench.store.engine import file_of
from canebench.store.ledger import open_ledger
from canebench.store.records import PlayerRecord

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.base.setting import Setting
    from canebench.store.ledger import Ledger

BAND: Final = "Ellerquay and District"
_PLAYERS: Final = (
    ("Isla Penhallow", "27 inH2O", "31 inH2O"),
    ("Rory Tamlin", "30 inH2O", "35 inH2O"),
    ("Effie Garrow", "24 inH2O", "28 inH2O"),
    ("Coll Brannock", "32 inH2O", "36 inH2O"),
)
_START: Final = datetime(2026, 3, 2, 19, 0, tzinfo=UTC)
_SUMMER: Final = datetime(2026, 5, 21, 19, 0, tzinfo=UTC)
_TRIALS: Final = datetime(2026, 6, 10, 19, 0, tzinfo=UTC)
#: So many of the reeds came in spring, and were fitted first; the next ones of their box are graded only.
_FIRST: Final = 4
_IN_THE_BOX_INH2O: Final = (27, 28, 37, 24, 23, 31)
_LOW_A_HZ: Final = 478.0
_BREATH_CENTS: Final = (0.4, -0.6, 0.7, -0.3, 0.5, -0.7, 0.2)
_WHO: Final = "Isla Penhallow (demo)"
_MARK: Final = ".canebench-demo"
#: What stands at the end of the mark once the season is whole.
_WHOLE: Final = "It is whole.\n"


@dataclass(slots=True)
class _Clock:
    """Time in the demo: it moves a minute with every act, and a few days between sessions."""

    now: datetime = _START

    def __call__(self) -> datetime:
        self.now += timedelta(minutes=1)
        return self.now


def make_demo(folder: Path) -> Path:
    """Fill a new ledger in `folder`, which must be new or empty; the ledger's path."""
    try:
        _begin(folder)
    except OSError as error:
        raise _impossible(folder, "made", error) from error
    try:
        return _filled(folder / "ledger.db", _Clock())
    except BaseException as error:
        # Half a season is none; the folder was new or empty.
        try:
            remove_demo(folder)
        except InputError:
            raise CanebenchError(
                f"The season could not be made, and what was begun of it in {folder} could not be taken away "
                f"again. Take it away once the disk does what it should: canebench demo {folder} --remove"
            ) from error
        raise


def _filled(path: Path, clock: _Clock) -> Path:
    ledger = open_ledger(str(path), clock=clock)
    for name, blows, ceiling in _PLAYERS:
        set_player(ledger, name, who=_WHO, blows=blows, ceiling=ceiling)
    take_in_lot(ledger, who=_WHO, name="spring", count=12, bought_on="2026-03-01", cane="straight, medium")
    for reed in REEDS[:_FIRST]:
        keep_chanter(ledger, reed.chanter, who=_WHO, sizes=None)
        _one_reed(ledger, clock, reed)
    for number, inches in enumerate(_IN_THE_BOX_INH2O, _FIRST + 1):
        log_strength(ledger, str(number), {"playing": f"{inches} inH2O"}, who=_WHO)
    clock.now = _SUMMER
    take_in_lot(ledger, who=_WHO, name="summer", count=6, bought_on="2026-05-20", cane="straight, strong")
    clock.now = _TRIALS
    take_in_lot(ledger, who=_WHO, name="trial", count=6, bought_on="2026-06-09", cane="straight, medium")
    for reed in REEDS[_FIRST:]:
        _one_reed(ledger, clock, reed)
    # Only a whole one is taken for a season later on.
    with (path.parent / _MARK).open("a", encoding="utf-8") as mark:
        mark.write(_WHOLE)
    return path


def season_in(folder: Path) -> Path:
    """The ledger of the season in `folder`, made there if it is not; one that was left half made, anew."""
    mark = folder / _MARK
    if mark.is_file():
        if mark.read_text(encoding="utf-8").endswith(_WHOLE):
            return folder / "ledger.db"
        remove_demo(folder)
    return make_demo(folder)


def is_season(url: str) -> bool:
    """Whether the ledger there is a season that was made to try things on."""
    path = file_of(url)
    return path is not None and (path.parent / _MARK).is_file()


def _begin(folder: Path) -> None:
    if folder.exists() and any(folder.iterdir()):
        raise InputError(
            field="demo",
            given=str(folder),
            allowed="a new or empty folder is filled, so that nothing real is touched",
            nearest="another folder, or canebench demo --remove for an earlier demo",
        )
    try:
        make_folder(folder)
        make_file(folder / _MARK)
        (folder / _MARK).write_text(
            "An invented season, made by canebench. Safe to remove.\n", encoding="utf-8"
        )
    except OSError:
        # It was new or empty; whatever another has put there since stays.
        with suppress(OSError):
            (folder / _MARK).unlink(missing_ok=True)
            folder.rmdir()
        raise


def _impossible(folder: Path, verb: str, error: OSError) -> InputError:
    return InputError(
        field=f"demo {folder}",
        given=f"a place {cannot(verb, error)}",
        allowed="one that you may write in, with room for it, is needed",
    )


def remove_demo(folder: Path) -> int:
    """Remove a demo that `make_demo` made, and nothing else; how many files that were."""
    if not (folder / _MARK).is_file():
        raise InputError(
            field="demo", given=str(folder), allowed="only a folder that a demo was made in is removed"
        )
    try:
        files = [path for path in folder.rglob("*") if path.is_file()]
        for path in files:
            path.unlink()
        for path in sorted((path for path in folder.rglob("*") if path.is_dir()), reverse=True):
            path.rmdir()
        folder.rmdir()
    except OSError as error:
        raise _impossible(folder, "removed", error) from error
    return len(files)


def _one_reed(ledger: Ledger, clock: _Clock, reed: DemoReed) -> None:
    """From the box to where it ends: graded, on trial, eased if strong, fitted, played in, measured again."""
    inches = reed.playing_inh2o
    told = {"onset": f"{inches - 4:.0f} inH2O", "playing": f"{inches:.0f} inH2O"}
    log_strength(ledger, reed.number, told, who=_WHO, player=reed.player)
    why = f"near what {reed.player} blows"
    move_reed(ledger, reed.number, to=State.ON_TRIAL.value, reason=why, who=_WHO)
    if reed.pinched:
        ease_reed(ledger, reed.number, how="pinch", who=_WHO, remarks="lightly, once")
    for count, setting in enumerate(reed.told):
        _take(ledger, reed, setting, count)
    evening = clock.now
    if reed.sessions:
        why = "in balance, still strong" if reed.state is State.SETTLED else reed.reason
        move_reed(ledger, reed.number, to=State.BREAKING_IN.value, reason=why, who=_WHO)
    for session in range(reed.sessions):
        clock.now = evening + timedelta(days=3 * (session + 1))
        minutes = float(min(25, 6 + 3 * session))
        play_reed(ledger, reed.number, minutes=minutes, who=_WHO, player=reed.player)
        eased = inches - 2.5 * (1 - math.exp(-(session + 1) / 4))
        pressure = {"playing": f"{eased:.0f} inH2O"}
        log_strength(ledger, reed.number, pressure, who=_WHO, player=reed.player)
    if reed.state is State.SETTLED:
        _take(ledger, reed, reed.told[-1], len(reed.told))
    if reed.state not in (State.ON_TRIAL, State.BREAKING_IN):
        move_reed(ledger, reed.number, to=reed.state.value, reason=reed.reason, who=_WHO)
    with ledger.act("remark", who=_WHO, said=f"remarks on reed {reed.number}, for {reed.player}") as act:
        player = named(act, PlayerRecord, reed.player)
        act.update(reed_numbered(act, reed.number), {"remarks": reed.remarks, "player_id": player.id})
    clock.now = evening


def _take(ledger: Ledger, reed: DemoReed, setting: Setting, count: int) -> None:
    """A take typed from a meter, with the setting told."""
    sits = reed.told[0] if reed.stuck else setting
    hz = _pitches_hz(reed, sits)
    # One breath differs from the next, by less than a cent here.
    breath = {note: _BREATH_CENTS[(i + 2 * count) % len(_BREATH_CENTS)] for i, note in enumerate(NOTES)}
    breath[LOW_A] = 0.0
    readings = {note: Typed(value=round(cents_to_hz(breath[note], hz[note]), 1), unit="Hz") for note in NOTES}
    request = FitRequest(
        heard=readings,
        done=0,
        seat_mm=setting.seat_mm,
        tape_mm=setting.tape_mm,
        room_degc=17.5 + 0.5 * count,
        room_rh=55.0,
    )
    place = Place(reed=reed.number, chanter=reed.chanter, player=reed.player)
    fit_reed(ledger, request, place=place, who=_WHO)


def _pitches_hz(reed: DemoReed, sits: Setting) -> dict[str, float]:
    """What it plays where it sits: the scale, moved by what seat and tape usually do from there."""
    usual = model_effects(generic())
    moved_cents = (usual.design(sits) - usual.design(reed.right))[:, SEAT.start :].sum(axis=1)
    return {
        note: cents_to_hz(
            float(moved_cents[i]) + reed.off_cents.get(note, 0.0), _LOW_A_HZ * DEFAULT_SCALE.ratios[note]
        )
        for i, note in enumerate(NOTES)
    }
