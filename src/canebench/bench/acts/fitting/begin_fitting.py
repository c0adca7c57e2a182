"""Begin a fitting, or find it: reed, chanter and player by number and name; what is new is added.

Guarded by `tests/doors/test_fitting_now.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from canebench.base.errors import InputError
from canebench.bench.acts.band import BandDefaults, defaults_of
from canebench.bench.acts.fitting.fit_reed import Place
from canebench.bench.acts.fitting.may_fit import may_fit
from canebench.bench.acts.ledger import check_new
from canebench.bench.acts.reeds.mouths import owner_of
from canebench.reeds.states import NOT_OFFERED, State
from canebench.store.records import RECORDS, ChanterRecord, PlayerRecord, ReedRecord, TakeRecord

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader
    from canebench.store.tables import Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Recent:
    """A fitting that was worked on: its newest take."""

    reed: ReedRecord
    chanter: ChanterRecord
    at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FittingChoices:
    """What a fitting can be begun with: reeds that may be offered, the newest moved first; names.

    `usual` is what is offered before anything is said.
    """

    reeds: list[ReedRecord]
    chanters: list[str]
    players: list[str]
    usual: BandDefaults


def fitting_choices(ledger: Ledger) -> FittingChoices:
    """Of reeds and chanters, at most 200."""
    with ledger.reading() as reader:
        reeds = reader.rows(ReedRecord, order="-state_since", limit=200)
        return FittingChoices(
            reeds=[reed for reed in reeds if reed.state not in NOT_OFFERED],
            chanters=[one.name for one in reader.rows(ChanterRecord, order="name", limit=200)],
            players=[one.name for one in reader.rows(PlayerRecord, order="name")],
            usual=defaults_of(reader),
        )


def usual_place(ledger: Ledger, reed: str, *, chanter: str | None, player: str | None) -> Place:
    """Where a reed is fitted, and who blows it, with what was not told filled in.

    The chanter is that of the reed's newest take, else the settled one, else that of the last fitting. A reed
    that is somebody's stays theirs, one that is nobody's goes to the player that is settled; never to whoever
    blew last, for that is no answer to whose it is.
    """
    with ledger.reading() as reader:
        known, usual = reader.find(ReedRecord, "number", reed), defaults_of(reader)
        if chanter is None and known is not None:
            takes = reader.rows(TakeRecord, {"reed_id": known.id}, order="-at", limit=1)
            last = takes[0].chanter_id if takes else None
            chanter = None if last is None else reader.row(ChanterRecord, last).name
        if player is None and (known is None or known.player_id is None):
            player = usual.settled_player
    chanter = chanter or usual.chanter
    if chanter is None:
        raise InputError(
            field="chanter",
            given="none",
            allowed="no chanter is settled and nothing was fitted yet",
            nearest="its name: --chanter NAME",
        )
    return Place(reed=reed, chanter=chanter, player=player)


def begin_fitting(
    ledger: Ledger, place: Place, *, who: str, insist: bool = False, offered: str | None = None
) -> tuple[int, int]:
    """The ids of reed and chanter; those that the ledger does not know are added in one act.

    `offered` is the player that stood there before anything was said: left so, a reed that is somebody's
    stays theirs. What stands against it (`may_fit`) is refused, unless with `insist`.
    """
    for field, given in (("reed", place.reed), ("chanter", place.chanter)):
        if not given.strip():
            raise InputError(field=field, given="nothing", allowed="a number or a name is needed")
    wanted = (
        ("players", "name", place.player),
        ("chanters", "name", place.chanter),
        ("reeds", "number", place.reed),
    )
    with ledger.reading() as reader:
        found = {table: _id(reader, table, column, given) for table, column, given in wanted}
        for table, column, name in wanted:
            if name and found[table] is None:
                check_new(reader, RECORDS[table], name, column=column, field=table.removesuffix("s"))
        known = None if found["reeds"] is None else reader.row(ReedRecord, found["reeds"])
        if place.player == offered and owner_of(reader, known) is not None:
            place, found["players"] = replace(place, player=None), None
        chanter = None if found["chanters"] is None else reader.row(ChanterRecord, found["chanters"])
        player = place.player or owner_of(reader, known) or owner_of(reader, chanter)
        note = may_fit(reader, known, player, ledger.clock(), begins=True, insist=insist)
    new = [
        (table, column, given)
        for table, column, given in wanted
        if given and found[table] is None and (table != "players" or place.player)
    ]
    if new:
        said = ", ".join(f"{table.removesuffix('s')} {given}" for table, _, given in new)
        with ledger.act("begin", who=who, said=f"added {said}") as act:
            for table, column, given in new:
                told: dict[str, Value] = {column: given}
                if table == "reeds":
                    told |= {"state": State.NEW.value, "state_since": act.at, "player_id": found["players"]}
                if table == "chanters":
                    told |= {"player_id": found["players"]}
                found[table] = act.insert(table, told)
    player_id = found["players"] or (known.player_id if known is not None and note else None)
    if found["reeds"] is not None and (player_id is not None or note):
        said = f"reed {place.reed} is {'fitted' if player is None else f'for {player}'}"
        _give(ledger, found["reeds"], player_id, who=who, said=said, note=note)
    if found["reeds"] is None or found["chanters"] is None:
        raise TypeError("a fitting has a reed and a chanter")
    return found["reeds"], found["chanters"]


def _give(ledger: Ledger, reed_id: int, player_id: int | None, *, who: str, said: str, note: str) -> None:
    """Who will blow a reed is told when its fitting begins; so is whose it was, and what was insisted on."""
    with ledger.reading() as reader:
        reed = reader.row(ReedRecord, reed_id)
        was = None if reed.player_id in (None, player_id) else reader.row(PlayerRecord, reed.player_id).name
    if reed.player_id != player_id or note:
        no_longer = "" if was is None else f", no longer for {was}"
        with ledger.act("give", who=who, said=f"{said}{no_longer}{note}") as act:
            act.update(reed, {"player_id": player_id})


def recent_fittings(ledger: Ledger, *, most: int = 8) -> list[Recent]:
    """The fittings worked on last, newest first."""
    found: dict[tuple[int, int], Recent] = {}
    with ledger.reading() as reader:
        for take in reader.rows(TakeRecord, order="-at", limit=20 * most):
            if take.reed_id is None or take.chanter_id is None:
                continue
            pair = take.reed_id, take.chanter_id
            if pair not in found:
                reed, chanter = reader.row(ReedRecord, pair[0]), reader.row(ChanterRecord, pair[1])
                found[pair] = Recent(reed=reed, chanter=chanter, at=take.at)
            if len(found) == most:
                break
    return list(found.values())


def _id(reader: Reader, table: str, column: str, given: str | None) -> int | None:
    row = reader.find(RECORDS[table], column, given) if given else None
    return None if row is None else row.id
