"""Players: what they blow now, and the ceiling that they set.

Guarded by `tests/doors/test_ledger_commands.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.pressure import parse_pressure
from canebench.bench.acts.band import unit_of
from canebench.bench.acts.ledger import check_new
from canebench.care.strain import BLOWS, CEILING, check_told
from canebench.store.records import PlayerRecord

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger


def set_player(
    ledger: Ledger, name: str, *, who: str, blows: str | None = None, ceiling: str | None = None
) -> PlayerRecord:
    """A new player, or what is told of one: pressures as typed, with their unit or in the settled one."""
    told: dict[str, float] = {}
    with ledger.reading() as reader:
        unit = unit_of(reader)
    if blows is not None:
        told["blows_kpa"] = parse_pressure(blows, field=BLOWS, unit=unit).kpa
    if ceiling is not None:
        told["ceiling_kpa"] = parse_pressure(ceiling, field=CEILING, unit=unit).kpa
    said = ", ".join(f"{what} {text}" for what, text in (("blows", blows), ("ceiling", ceiling)) if text)
    with ledger.act("player", who=who, said=f"player {name}{said and f': {said}'}") as act:
        known = act.find(PlayerRecord, "name", name)
        if told:
            check_told(
                blows_kpa=told.get("blows_kpa", None if known is None else known.blows_kpa),
                ceiling_kpa=told.get("ceiling_kpa", None if known is None else known.ceiling_kpa),
                told="blows" if ceiling is None else "ceiling",
            )
        if known is None:
            check_new(act, PlayerRecord, name, field="player")
            return act.row(PlayerRecord, act.insert("players", {"name": name, **told}))
        return act.update(known, told) if told else known


def player_names(ledger: Ledger) -> list[str]:
    """The names of all players, in order."""
    return [player.name for player in list_players(ledger)]


def list_players(ledger: Ledger) -> list[PlayerRecord]:
    """All players by name."""
    with ledger.reading() as reader:
        return reader.rows(PlayerRecord, order="name")
