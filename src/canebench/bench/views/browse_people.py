"""Players to look through, each with what is theirs. Guarded by `tests/web/test_players.py`."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from canebench.base.pressure import PressureUnit, parse_pressure, pressure_in, pressure_said
from canebench.bench.acts.band import unit_of
from canebench.bench.acts.ledger import check_renamed, meant, renamed
from canebench.bench.acts.near_names import near_name
from canebench.bench.acts.reeds.choose_reeds import choose_for
from canebench.bench.acts.reeds.people import list_players
from canebench.care.strain import BLOWS, CEILING, check_told
from canebench.store.records import (
    ChanterRecord,
    DroneRecord,
    LotRecord,
    PlayerRecord,
    ReedRecord,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.reeds.choice import Choice
    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord
    from canebench.store.tables import Value

_STORY: Final = 50
_CHOICES: Final = 200
#: So many are named of the reeds that are as good.
_TIES: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerPage:
    """One player with their reeds, chanters, drones and story; pressures in words."""

    player: PlayerRecord
    blows: str
    ceiling: str
    blows_typed: str
    ceiling_typed: str
    reeds: list[ReedRecord]
    chanters: list[ChanterRecord]
    drones: list[DroneRecord]
    story: list[ActRecord]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choosing:
    """Which reeds suit a player now, the best first; `said` is why there are none.

    `apart` are those offered to nobody, such as one that is set aside. `ids` are the reeds' rows by their
    numbers; `chanter` is the one that the player has, "" for none or several.
    """

    player: PlayerRecord | None = None
    blows: str = ""
    ceiling: str = ""
    chanter: str = ""
    choices: list[Choice] = field(default_factory=list)
    total: int = 0
    apart: list[Choice] = field(default_factory=list)
    total_apart: int = 0
    ids: dict[str, int] = field(default_factory=dict)
    said: str = ""


def choosing(ledger: Ledger, name: str, lot: str | None) -> Choosing:
    """Judge the reeds of a lot, or all, for a player; the first of them, and those offered to nobody."""
    with ledger.reading() as reader:
        player = reader.find(PlayerRecord, "name", name)
        near = near_name(name, reader.texts(PlayerRecord, "name"))
        known = lot is None or reader.find(LotRecord, "name", lot) is not None
        chanters = reader.rows(ChanterRecord, {"player_id": player.id}, limit=2) if player else []
        unit = unit_of(reader)
    if player is None:
        return Choosing(said=f"There is no player named {name}." + meant(near))
    if not known:
        return Choosing(player=player, said=f"There is no lot named {lot}.")
    if player.blows_kpa is None:
        return Choosing(player=player, said=f"What {name} blows now is not told yet.")
    found = choose_for(ledger, name, lot=lot, first=_CHOICES, named=_TIES)
    with ledger.reading() as reader:
        reeds = reader.of_many(ReedRecord, "number", [one.number for one in (*found.choices, *found.apart)])
    return Choosing(
        player=player,
        blows=told_said(player.blows_kpa, unit),
        ceiling=told_said(player.ceiling_kpa, unit),
        chanter=chanters[0].name if len(chanters) == 1 else "",
        choices=found.choices,
        total=found.total,
        apart=found.apart,
        total_apart=found.total_apart,
        ids={reed.number: reed.id for reed in reeds},
    )


def told_said(kpa: float | None, unit: PressureUnit | None) -> str:
    """What was told of a player, in the band's unit first; empty for what is not told."""
    return "" if kpa is None else pressure_said(kpa, unit)


def pressure_typed(kpa: float | None, unit: PressureUnit | None) -> str:
    """As it stands in a form, to be changed; empty for what is not told."""
    return "" if kpa is None else pressure_in(kpa, unit or PressureUnit.INH2O)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerLine:
    """A player in a list; pressures in words."""

    id: int
    name: str
    blows: str
    ceiling: str


def player_lines(ledger: Ledger, search: str = "") -> list[PlayerLine]:
    """All players by name; with `search`, those whose name or remarks hold it."""
    wanted = search.casefold()
    with ledger.reading() as reader:
        unit = unit_of(reader)
    return [
        PlayerLine(
            id=row.id,
            name=row.name,
            blows=told_said(row.blows_kpa, unit),
            ceiling=told_said(row.ceiling_kpa, unit),
        )
        for row in list_players(ledger)
        if wanted in f"{row.name}\n{row.remarks or ''}".casefold()
    ]


def player_page(ledger: Ledger, player_id: int) -> PlayerPage:
    """One player."""
    with ledger.reading() as reader:
        player = reader.row(PlayerRecord, player_id)
        theirs, unit = {"player_id": player_id}, unit_of(reader)
        return PlayerPage(
            player=player,
            blows=told_said(player.blows_kpa, unit),
            ceiling=told_said(player.ceiling_kpa, unit),
            blows_typed=pressure_typed(player.blows_kpa, unit),
            ceiling_typed=pressure_typed(player.ceiling_kpa, unit),
            reeds=reader.rows(ReedRecord, theirs, order="#number", limit=200),
            chanters=reader.rows(ChanterRecord, theirs, order="name"),
            drones=reader.rows(DroneRecord, theirs, order="name"),
            story=reader.story(PlayerRecord, player_id, newest=_STORY)[::-1],
        )


def edit_player(
    ledger: Ledger,
    player_id: int,
    told: Mapping[str, str | None],
    *,
    read: Mapping[str, Value],
    who: str,
) -> None:
    """Change name, pressures (with their unit) and remarks; refused where the row is not as it was `read`."""
    with ledger.reading() as reader:
        row, unit = reader.row(PlayerRecord, player_id), unit_of(reader)
    pressures: dict[str, float | None] = {}
    for column, kept_kpa, label in (
        ("blows_kpa", row.blows_kpa, BLOWS),
        ("ceiling_kpa", row.ceiling_kpa, CEILING),
    ):
        text = told.get(column)
        if text and text == pressure_typed(kept_kpa, unit):
            # Shown to one decimal and not touched: a ceiling never moves by its rounding.
            pressures[column] = kept_kpa
        else:
            pressures[column] = None if not text else parse_pressure(text, field=label, unit=unit).kpa
    blows, ceiling = pressures["blows_kpa"], pressures["ceiling_kpa"]
    if (blows, ceiling) != (row.blows_kpa, row.ceiling_kpa):
        check_told(
            blows_kpa=blows, ceiling_kpa=ceiling, told="blows" if ceiling == row.ceiling_kpa else "ceiling"
        )
    values: dict[str, Value] = {"name": told.get("name"), "remarks": told.get("remarks"), **pressures}
    with ledger.act("player", who=who, said=f"player {renamed(row, told.get('name'))}") as act:
        check_renamed(act, row, told.get("name"))
        act.update(row.as_read(read), values)
