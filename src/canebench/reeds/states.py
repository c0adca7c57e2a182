"""A reed's states and the moves between them.

Guarded by `tests/practice/test_reed_states.py`.
"""

from __future__ import annotations

from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, UnknownNameError

if TYPE_CHECKING:
    from collections.abc import Mapping


class State(StrEnum):
    """Where a reed stands in its life."""

    NEW = "new"
    ON_TRIAL = "on trial"
    BREAKING_IN = "breaking in"
    SETTLED = "settled"
    SPARE = "spare"
    RETIRED = "retired"
    SET_ASIDE = "set aside"


#: From each state, where a reed may go. A retired reed stays retired (undo mends a slip); one set aside for a
#: chanter or for its strength may be tried again.
MOVES: Final[Mapping[State, tuple[State, ...]]] = MappingProxyType(
    {
        State.NEW: (State.ON_TRIAL, State.BREAKING_IN, State.SET_ASIDE, State.RETIRED),
        State.ON_TRIAL: (State.BREAKING_IN, State.SETTLED, State.SET_ASIDE, State.RETIRED),
        State.BREAKING_IN: (State.SETTLED, State.SPARE, State.SET_ASIDE, State.RETIRED),
        State.SETTLED: (State.SPARE, State.BREAKING_IN, State.SET_ASIDE, State.RETIRED),
        State.SPARE: (State.SETTLED, State.BREAKING_IN, State.SET_ASIDE, State.RETIRED),
        State.SET_ASIDE: (State.ON_TRIAL, State.BREAKING_IN, State.RETIRED),
        State.RETIRED: (),
    }
)

#: States in which a reed is still being set up or broken in.
IN_WORK: Final = (State.NEW, State.ON_TRIAL, State.BREAKING_IN)
#: States in which a reed is offered to nobody: it is tried again, if at all, once it has been moved on.
NOT_OFFERED: Final = (State.SET_ASIDE, State.RETIRED)


def state_named(name: str) -> State:
    """The state of that name; an unknown one is an error that lists the known ones.

    Parameters
    ----------
    name : str
        As typed; capitals, and hyphens for spaces, do not matter.

    Returns
    -------
    State
        That state.

    Raises
    ------
    UnknownNameError
        There is no such state; the nearest name is told.
    """
    try:
        return State(name.strip().lower().replace("-", " "))
    except ValueError as error:
        raise UnknownNameError(field="state", given=name, known=[state.value for state in State]) from error


def check_move(now: State, to: State, *, reason: str) -> None:
    """An error where a reed in state `now` cannot go to `to`, or where no reason is given.

    Parameters
    ----------
    now, to : State
        Where the reed is, and where it is to go: `MOVES` has what is allowed.
    reason : str
        Why, in a few words; not blank.

    Raises
    ------
    InputError
        No such move, or no reason. Guarded by `tests/practice/test_reed_states.py`.
    """
    if to not in MOVES[now]:
        allowed = ", ".join(state.value for state in MOVES[now]) or "nowhere; undo the act that retired it"
        raise InputError(
            field="state of a reed", given=f"from {now} to {to}", allowed=f"it may go to {allowed}"
        )
    if not reason.strip():
        raise InputError(
            field="reason",
            given="nothing",
            allowed="every move is written down with its reason in a few words",
        )
