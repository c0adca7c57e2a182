"""What stands against fitting a reed for a player: it is offered to nobody, it rests, it asks for too much.

Guarded by `tests/doors/test_may_fit.py` and `tests/doors/test_insist.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.errors import InputError, UnlessInsistedError
from canebench.bench.acts.reeds.mouths import insisted_on, mouth_state
from canebench.bench.acts.reeds.strengths import read_strengths
from canebench.care.quarantine import rest_said
from canebench.care.strain import CEILING, within_ceiling
from canebench.reeds.states import NOT_OFFERED
from canebench.store.records import PlayerRecord

if TYPE_CHECKING:
    from datetime import datetime

    from canebench.store.reader import Reader
    from canebench.store.records import ReedRecord


def stands_against(reader: Reader, reed: ReedRecord, player: str | None, now: datetime) -> tuple[str, ...]:
    """What is advised against, as clauses after "it": "is set aside: a chip"."""
    apart = _set_apart(reed)
    rests = "" if player is None else rest_said(mouth_state(reader, reed, player, now))
    return tuple(clause for clause in (apart and f"is {apart}", rests) if clause)


def may_fit(
    reader: Reader,
    reed: ReedRecord | None,
    player: str | None,
    now: datetime,
    *,
    begins: bool,
    insist: bool,
) -> str:
    """What to write down of it where one insists; "" where nothing stands against it.

    A reed that is set aside or retired, or that rests from another's mouth, is an error unless one insists;
    where a fitting `begins`, one last read above the player's ceiling is an error whatever one insists on. A
    reed or a player that the ledger does not know stands for nothing.
    """
    if reed is None:
        return ""
    if begins:
        _check_ceiling(reader, reed, player)
    return _not_offered(reed, insist=insist) + insisted_on(reader, reed, player, now, insist=insist)


def _set_apart(reed: ReedRecord) -> str:
    """The state of a reed that is offered to nobody, with its reason: "set aside: a chip"; else nothing."""
    if reed.state not in NOT_OFFERED:
        return ""
    return f"{reed.state}: {reed.state_reason}" if reed.state_reason else reed.state


def _not_offered(reed: ReedRecord, *, insist: bool) -> str:
    apart = _set_apart(reed)
    if apart and not insist:
        raise UnlessInsistedError(
            field=f"reed {reed.number}",
            given=apart,
            allowed="a reed that may be offered is fitted",
            nearest="another number; or say that you insist",
        )
    return f", insisted: it is {reed.state}" if apart else ""


def _check_ceiling(reader: Reader, reed: ReedRecord, player: str | None) -> None:
    """No insisting lifts a ceiling; a reading from before a pinch says nothing."""
    person = None if player is None else reader.find(PlayerRecord, "name", player)
    if person is None or person.ceiling_kpa is None:
        return
    strength = read_strengths(reader, [reed.id]).known(reed.id)
    if strength is None or strength.before is not None:
        return
    past = within_ceiling(strength.kpa.value, person.ceiling_kpa)
    if past is not None:
        raise InputError(
            field=CEILING,
            given=f"reed {reed.number}",
            allowed=past.say,
            nearest="ease it and grade it again, or choose another reed",
        )
