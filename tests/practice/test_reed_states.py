"""A reed's life as the trade lives it. Common practice, no source."""

from __future__ import annotations

import pytest

from canebench.base.errors import InputError
from canebench.reeds.states import MOVES, State, check_move, state_named
from canebench.store.records import STATES


def test_from_new_to_retired_there_is_a_way() -> None:
    reached, edge = {State.NEW}, [State.NEW]
    while edge:
        for to in MOVES[edge.pop()]:
            if to not in reached:
                reached.add(to)
                edge.append(to)
    assert reached == set(State)


def test_a_reed_is_broken_in_before_it_is_spare() -> None:
    check_move(State.NEW, State.ON_TRIAL, reason="nearest in strength")
    check_move(State.ON_TRIAL, State.BREAKING_IN, reason="in balance")
    with pytest.raises(InputError, match="it may go to on trial"):
        check_move(State.NEW, State.SPARE, reason="looks good")


def test_a_retired_reed_stays_retired() -> None:
    with pytest.raises(InputError, match="undo the act that retired it"):
        check_move(State.RETIRED, State.SETTLED, reason="second thoughts")


def test_every_state_but_the_last_can_be_retired_or_set_aside() -> None:
    for state in State:
        if state not in (State.RETIRED, State.SET_ASIDE):
            assert {State.RETIRED, State.SET_ASIDE} <= set(MOVES[state])


def test_a_move_needs_its_reason() -> None:
    with pytest.raises(InputError, match="reason"):
        check_move(State.NEW, State.RETIRED, reason="  ")


def test_names_as_people_type_them() -> None:
    assert state_named("On-Trial") is State.ON_TRIAL
    with pytest.raises(InputError, match="set aside"):
        state_named("set asid")


def test_the_ledger_knows_the_same_states() -> None:
    assert tuple(state.value for state in State) == STATES
