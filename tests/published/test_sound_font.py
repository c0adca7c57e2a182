"""Notes of an organ of sampled reeds, made by a player that is not ours, against the samples' own loops."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from canebench.base.units import cents_to_hz
from canebench.sound.analysis.measure import measure
from support.datasets import published
from support.organ import Stroke, font_path, played
from support.pitch import assert_within_cents
from support.soundfont import SoundFont
from support.takes import codes, names, reading

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.sound.analysis.readings import Measurement

_LOOPS = published("sample_loops")
_PROGRAM = int(_LOOPS.number("program"))
_FONT = font_path(str(_LOOPS.source["font"]))
_HELD_S = 2.0
#: Twice what other methods found between the rendered partials and the loop.
_GATE_CENTS = 2 * _LOOPS.number("cents_uncertainty")
_BEND_CUT_CENTS = _LOOPS.number("bend_cut_cents")
_TAKES = list(dict.fromkeys(row["take"] for row in _LOOPS.rows))


def _rows(take: str) -> list[dict[str, str]]:
    return [row for row in _LOOPS.rows if row["take"] == take]


def _measured(take: str, folder: Path) -> Measurement:
    strokes = [
        Stroke(key=int(row["key"]), bend_cents=float(row["bend_cents"]), duration_s=_HELD_S)
        for row in _rows(take)
    ]
    return measure(played(strokes, program=_PROGRAM, font=_FONT, folder=folder))


def _loop_hz(font: SoundFont, row: dict[str, str]) -> float:
    """The unbent pitch; both channels' samples must agree on it."""
    left, *others = font.voices(program=_PROGRAM, key=int(row["key"]))
    assert [voice.hz for voice in others] == [left.hz]
    return left.hz


@pytest.mark.parametrize("take", _TAKES)
def test_each_note_has_the_pitch_of_its_loop(take: str, tmp_path: Path) -> None:
    """Every note is named and no drone heard; unbent notes within 0.01 cent, bent ones within the cut."""
    font, found = SoundFont(_FONT), _measured(take, tmp_path)
    assert found.drones == (), codes(found)
    assert names(found) == [row["note"] for row in _rows(take)]
    for row in _rows(take):
        bend = float(row["bend_cents"])
        cut = _BEND_CUT_CENTS / 2 if bend else 0.0
        true_hz = cents_to_hz(bend - cut, _loop_hz(font, row))
        assert_within_cents(reading(found, row["note"]).hz, true_hz, cents=_GATE_CENTS + cut)


def test_the_keys_nominal_pitch_is_no_truth(tmp_path: Path) -> None:
    """Control: equal temperament, 1.2 cents from the loops, fails the same gate."""
    (take,) = [name for name in _TAKES if name == "octave on B flat"]
    found = _measured(take, tmp_path)
    for row in _rows(take):
        nominal_hz = 440.0 * 2 ** ((int(row["key"]) - 69) / 12)
        with pytest.raises(AssertionError, match="allowed"):
            assert_within_cents(reading(found, row["note"]).hz, nominal_hz, cents=_GATE_CENTS)


def test_the_loops_are_counted_right() -> None:
    """The whole number of periods puts each key within 5 cents of its name; one more or less does not."""
    for row in _LOOPS.rows:
        (voice, _) = SoundFont(_FONT).voices(program=_PROGRAM, key=int(row["key"]))
        nominal_hz = 440.0 * 2 ** ((int(row["key"]) - 69) / 12)
        assert_within_cents(voice.hz, nominal_hz, cents=5)
        for periods in (voice.periods - 1, voice.periods + 1):
            with pytest.raises(AssertionError, match="allowed"):
                assert_within_cents(voice.hz * periods / voice.periods, nominal_hz, cents=5)
