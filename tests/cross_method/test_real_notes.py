"""Takes of recorded notes, cut from a sound font's own samples, against the course of each note by itself.

Notes of real instruments waver, strike in and change their timbre as nothing made from formulas does. The
truth is found by another method before anything is mixed (`real_takes/course`, which shares no code with the
package). The accordion's reeds are the drones.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import pytest

from real_takes.conditions import CONDITIONS
from real_takes.score import TakeScore, score_take
from real_takes.soundfont import sources_of_soundfont
from real_takes.sources import Instrument, Source, instruments_of
from real_takes.spoiling import recorded
from real_takes.takes import take_of
from support.organ import font_path

if TYPE_CHECKING:
    from real_takes.takes import RealTake, Tuning

_SEEDS = range(1, 3)
_SHAPES = ["alone", "drones", "in-tune"]
#: Its notes hold nearly still; a violin's and a horn's vibrato is no pipe's.
_STEADY = "sax"


@cache
def _instruments() -> list[Instrument]:
    read = sources_of_soundfont(font_path("FluidR3_GM.sf2"), [_STEADY])
    return instruments_of([source for source in read if isinstance(source, Source)])


@cache
def _take(seed: int, layout: str, tuning: Tuning) -> RealTake:
    """Chanter and drones apart: conditions of one layout and tuning share them."""
    return take_of(seed, _instruments(), layout, tuning)


def _score(name: str, seed: int) -> TakeScore:
    condition = CONDITIONS[name]
    take = _take(seed, condition.layout, condition.tuning)
    take, recording = recorded(take, drones_db=condition.drones_db, spoilt_by=condition.spoilt_by, seed=seed)
    return score_take(name, condition, seed, take, recording)


@pytest.mark.parametrize("name", _SHAPES)
def test_each_note_has_the_pitch_of_its_own_recording(name: str) -> None:
    """None lost, misnamed or invented; each within what is asked of the worst (twice: they waver)."""
    asked = CONDITIONS[name].asked_cents
    assert asked is not None
    for seed in _SEEDS:
        score = _score(name, seed)
        assert [note.note for note in score.notes if note.fate != "read"] == []
        assert score.invented == ()
        assert max(note.error_cents for note in score.notes) < 2 * asked[2]


def test_a_note_beside_the_course_is_noticed() -> None:
    """Control: against the courses of another seed's notes, the same take is far off."""
    condition = CONDITIONS["alone"]
    take, other = (_take(seed, condition.layout, condition.tuning) for seed in (1, 2))
    _, recording = recorded(take, drones_db=None, spoilt_by=None, seed=1)
    score = score_take("alone", condition, 1, other, recording)
    assert condition.asked_cents is not None
    assert max(note.error_cents for note in score.notes) > 2 * condition.asked_cents[2]
