"""An invented chanter's sensitivities: signs, order and curvature of a table that another program computed.

The table is synthetic and no chanter was measured: its numbers are asked for nowhere.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest

from canebench.base.fingering import HOLES
from canebench.base.notes import LOW_A, NOTES
from canebench.bore.assembly import assemble
from canebench.bore.tape import covered_mm
from support.bores import BREATH, cents, invented_chanter, invented_hz, invented_reed, pitches_hz
from support.datasets import published

_DATA = published("fixture_sensitivities")
_TABLE = {row["action"]: row for row in _DATA.rows}
_TAPES = ("own hole taped 10 %", "own hole taped 20 %", "own hole taped 30 %", "own hole taped 50 %")
_SOCKETS = (
    "raised 1 mm in a socket of 4 mm",
    "raised 1 mm in a socket of 6 mm",
    "raised 1 mm in a socket of 7.5 mm",
)
_NETWORK = assemble(invented_chanter(), invented_reed(), BREATH)
_BEFORE_HZ = pitches_hz(_NETWORK, start_hz=invented_hz())


def _taped(hole: str, share: float) -> dict[str, float]:
    return {hole: covered_mm(share, diameter_mm=_NETWORK.chanter.hole(hole).diameter_mm)}


def _after_hz(action: str, note: str) -> float:
    """That note's pitch after that action."""
    network, tape_mm, gap_mm = _NETWORK, {}, 0.0
    if action == "10 mm3 more reed":
        network = assemble(invented_chanter(), invented_reed(volume_mm3=278.8), BREATH)
    elif action in _SOCKETS:
        socket_mm, gap_mm = float(action.split()[-2]), 1.0
        network = assemble(invented_chanter(socket_mm=socket_mm), invented_reed(), BREATH)
    elif action in _TAPES:
        tape_mm = _taped(note, float(action.split()[-2]) / 100)
    elif action == "low A hole taped 30 %":
        tape_mm = _taped(LOW_A, 0.3)
    else:
        assert action == "own hole 0.1 mm wider"
        holes = list(network.chanter.holes)
        own = HOLES.index(note)
        holes[own] = replace(holes[own], diameter_mm=holes[own].diameter_mm + 0.1)
        network = assemble(replace(network.chanter, holes=tuple(holes)), invented_reed(), BREATH)
    start_hz = _BEFORE_HZ[[NOTES.index(note)]]
    return float(pitches_hz(network, notes=[note], tape_mm=tape_mm, gap_mm=gap_mm, start_hz=start_hz)[0])


def _moves(action: str) -> dict[str, float]:
    """Our cents of each note that the table tells of."""
    told = [note for note in NOTES if _TABLE[action][note] != ""]
    after = np.array([_after_hz(action, note) for note in told])
    before = _BEFORE_HZ[[NOTES.index(note) for note in told]]
    return dict(zip(told, cents(after, before).tolist(), strict=True))


def _unlike(ours: dict[str, float], table: dict[str, str]) -> list[str]:
    """What in `ours` has another sign than the table, or stands in another order.

    Two notes within the table's rounding, or within 5 % of each other, are a tie: the two programs take other
    formulas for losses and holes.
    """
    rounding = _DATA.number("rounding_cents")
    told = {note: float(table[note]) for note in ours}
    found = [
        f"{note}: {ours[note]:+.2f} for {value:+.1f}"
        for note, value in told.items()
        if (abs(ours[note]) > rounding if value == 0 else ours[note] * value <= 0)
    ]
    found += [
        f"{one} and {other} are exchanged"
        for one, other in combinations(told, 2)
        if abs(told[one] - told[other]) > max(2.01 * rounding, 0.05 * abs(told[one]))
        and (ours[one] - ours[other]) * (told[one] - told[other]) <= 0
    ]
    return found


@pytest.mark.parametrize("action", list(_TABLE))
def test_signs_and_order_are_the_tables(action: str) -> None:
    assert _unlike(_moves(action), _TABLE[action]) == []


def test_control_a_move_the_wrong_way_and_two_exchanged_are_caught() -> None:
    action = "10 mm3 more reed"
    ours = _moves(action)
    assert _unlike({note: -move for note, move in ours.items()}, _TABLE[action]) != []
    assert _unlike(ours | {"B": ours["E"], "E": ours["B"]}, _TABLE[action]) != []


def test_the_wider_the_socket_the_more_a_millimetre_does() -> None:
    """For every note, in the table and with us."""
    moves = [_moves(action) for action in _SOCKETS]
    for narrow, wide in pairwise(moves):
        assert all(wide[note] < narrow[note] < 0 for note in NOTES)
    for narrow_row, wide_row in pairwise(_TABLE[action] for action in _SOCKETS):
        assert all(float(wide_row[note]) < float(narrow_row[note]) for note in NOTES)


@pytest.mark.parametrize("note", NOTES[1:])
def test_tape_works_more_than_in_proportion(note: str) -> None:
    """Cents per tenth of the hole grow with the tape, in the table (to its rounding) and with us."""
    tenths = np.array([1.0, 2.0, 3.0, 5.0])
    ours = np.array([_moves(action)[note] for action in _TAPES]) / tenths
    told = np.array([float(_TABLE[action][note]) for action in _TAPES]) / tenths
    assert np.all(np.diff(ours) < 0)
    assert np.all(np.diff(told) < 2 * _DATA.number("rounding_cents"))
    assert told[-1] < 1.5 * told[0]
    assert ours[-1] < 1.5 * ours[0]
