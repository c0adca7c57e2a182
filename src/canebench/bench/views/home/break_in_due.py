"""Which reeds that are being broken in may be played again, and for how long.

Guarded by `tests/doors/test_break_in_due.py`.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import day_said
from canebench.bench.acts.band import ladder_of
from canebench.bench.views.home.needs import Need
from canebench.reeds.states import State
from canebench.store.records import PlayerRecord, PlayRecord, ReedRecord
from canebench.store.values import written

if TYPE_CHECKING:
    from datetime import tzinfo

    from canebench.reeds.breaking_in.ladder import Ladder
    from canebench.store.reader import Reader

#: So many reeds that are being broken in are looked through, those begun last; a page must not wait for more.
_LOOKED_AT: Final = 60


def break_in_due(reader: Reader, now: datetime, zone: tzinfo | None) -> list[Need]:
    """A session for each reed that has rested: those played longest ago first, those never played last."""
    reeds = reader.rows(
        ReedRecord, {"state": State.BREAKING_IN.value}, order="-state_since", limit=_LOOKED_AT
    )
    had: dict[int, list[str]] = {reed.id: [] for reed in reeds}
    for reed_id, at in reader.columns(
        PlayRecord, ("reed_id", "at"), among=[("reed_id", list(had), True)], order="at"
    ):
        had[reed_id].append(at)
    ladder = ladder_of(reader)
    rested_if_before = written(now - timedelta(hours=ladder.rest_h))
    due = [reed for reed in reeds if not had[reed.id] or had[reed.id][-1] <= rested_if_before]
    due.sort(key=lambda reed: (not had[reed.id], had[reed.id][-1:]))
    owners = reader.by_id(PlayerRecord, (reed.player_id for reed in due))
    return [_need(reed, had[reed.id], owners.get(reed.player_id), zone, ladder) for reed in due]


def _need(
    reed: ReedRecord, had: list[str], owner: PlayerRecord | None, zone: tzinfo | None, ladder: Ladder
) -> Need:
    """How long its next session is, and whose it is."""
    minutes = ladder.length_min(len(had))
    if had:
        why = (
            f"about {minutes:g} minutes today, session {len(had) + 1}; last played {day_said(had[-1], zone)}"
        )
    else:
        why = f"being broken in and never played: about {minutes:g} minutes, its first session"
    player = "" if owner is None else owner.name
    return Need(kind="break in", reed=reed, why=why, minutes=minutes, player=player)
