"""Whose mouth a reed was in: it rests before another's, and that is said before anything is written down.

Guarded by `tests/doors/test_insist.py` and `tests/web/test_insist.py`.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime
from typing import TYPE_CHECKING

from canebench.bench.acts.band import zone_of
from canebench.care.quarantine import (
    REST_H,
    MouthTest,
    MouthTestState,
    check_rested,
    rest_said,
    rests_until,
    standing,
)
from canebench.store.records import MouthTestRecord, PlayerRecord
from canebench.store.values import written

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.store.reader import Reader
    from canebench.store.records import ChanterRecord, ReedRecord
    from canebench.store.tables import Value
    from canebench.store.writer import Writer

#: A mouth whose player is in the bin.
_SOMEONE = "someone"


def mouth_tests(reader: Reader, numbers: Mapping[int, str]) -> dict[int, list[MouthTest]]:
    """The mouths that reeds were in, given by row and number; by the reed's row, oldest first."""
    rows = reader.of_many(MouthTestRecord, "reed_id", list(numbers), order="at")
    players = reader.by_id(PlayerRecord, (row.player_id for row in rows))
    found: dict[int, list[MouthTest]] = defaultdict(list)
    for row in rows:
        found[row.reed_id].append(
            MouthTest(
                reed=numbers[row.reed_id],
                player=players[row.player_id].name if row.player_id in players else _SOMEONE,
                at=datetime.fromisoformat(row.at),
                until=datetime.fromisoformat(row.rests_until),
            )
        )
    return found


def mouth_state(reader: Reader, reed: ReedRecord, player: str, now: datetime) -> MouthTestState:
    """Whether a player may take a reed into the mouth now."""
    tests = mouth_tests(reader, {reed.id: reed.number}).get(reed.id, [])
    return standing(tests, reed=reed.number, player=player, now=now.astimezone(zone_of(reader)))


def owner_of(reader: Reader, owned: ReedRecord | ChanterRecord | None) -> str | None:
    """Whose a reed or a chanter is, by name; None for nobody's."""
    if owned is None or owned.player_id is None:
        return None
    return reader.row(PlayerRecord, owned.player_id).name


def insisted_on(
    reader: Reader, reed: ReedRecord | None, player: str | None, now: datetime, *, insist: bool
) -> str:
    """What to write down of it where a player is to have a reed that rests, and insists; "" where it is free.

    Without `insist`, that is an error which says until when it rests.
    """
    if reed is None or player is None:
        return ""
    state = mouth_state(reader, reed, player, now)
    check_rested(state, reed=reed.number, player=player, insisted=insist)
    rests = rest_said(state)
    return f", insisted: it {rests}" if rests else ""


def log_mouth(act: Writer, reed: ReedRecord, person: PlayerRecord, *, rest_h: float = REST_H) -> None:
    """Write down that a reed was in a player's mouth now, and until when it rests for others."""
    at = datetime.fromisoformat(act.at)
    until = rests_until(MouthTest(reed=reed.number, player=person.name, at=at), rest_h=rest_h)
    row: dict[str, Value] = {
        "reed_id": reed.id,
        "player_id": person.id,
        "at": act.at,
        "rests_until": written(until),
    }
    act.insert("mouth_tests", row)
