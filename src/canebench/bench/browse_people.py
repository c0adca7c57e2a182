"""Players to look through, each with what is theirs. Guarded by `tests/web/test_players.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from canebench.base.pressure import kpa_to_inh2o, parse_pressure
from canebench.base.uncertain import number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord
    from canebench.store.tables import Row, Value

_STORY = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerPage:
    """One player with their reeds, chanters, drones and story; pressures in words."""

    player: Row
    blows: str
    ceiling: str
    reeds: list[Row]
    chanters: list[Row]
    drones: list[Row]
    story: list[ActRecord]


def pressure_said(kpa: Value) -> str:
    """In both units; empty for what is not told."""
    if not isinstance(kpa, float):
        return ""
    return f"{number(kpa_to_inh2o(kpa), 1)} inH2O = {number(kpa, 2)} kPa"


def player_page(ledger: Ledger, player_id: int) -> PlayerPage:
    """One player."""
    with ledger.reading() as reader:
        player = reader.row("players", player_id)
        theirs: dict[str, Value] = {"player_id": player_id}
        return PlayerPage(
            player=player,
            blows=pressure_said(player["blows_kpa"]),
            ceiling=pressure_said(player["ceiling_kpa"]),
            reeds=reader.rows("reeds", theirs, order="#number", limit=200),
            chanters=reader.rows("chanters", theirs, order="name"),
            drones=reader.rows("drones", theirs, order="name"),
            story=reader.story("players", player_id, newest=_STORY)[::-1],
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
    values: dict[str, Value] = {"name": told.get("name"), "remarks": told.get("remarks")}
    for column, field in (("blows_kpa", "what the player blows"), ("ceiling_kpa", "ceiling")):
        text = told.get(column)
        values[column] = None if not text else parse_pressure(text, field=field).kpa
    with ledger.reading() as reader:
        row = reader.row("players", player_id)
    with ledger.act("player", who=who, said=f"player {row['name']}") as act:
        act.update("players", player_id, values, read={**row, **read})
