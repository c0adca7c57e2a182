"""Slips that are asked about: common practice, no source, that no reed plays such a step."""

from __future__ import annotations

import pytest

from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE, published_scales
from canebench.bench.acts.fitting.report import report_on
from canebench.fitting.slips import SLIP_CENTS, slips_of
from doors.made_takes import made_measurement

_LOW_A_HZ = 478.0


def _hz(**off_cents: float) -> dict[str, float]:
    """The scale with notes off by so many cents; `high_A=-50`."""
    off = {name.replace("_", " "): cents for name, cents in off_cents.items()}
    return {note: _LOW_A_HZ * DEFAULT_SCALE.ratios[note] * 2 ** (off.get(note, 0.0) / 1200) for note in NOTES}


def _said(hz: dict[str, float]) -> list[str]:
    return [slip.said for slip in slips_of(hz, DEFAULT_SCALE)]


@pytest.mark.parametrize("scale", published_scales())
def test_no_published_scale_is_a_slip_against_another(scale: str) -> None:
    hz = {note: _LOW_A_HZ * ratio for note, ratio in published_scales()[scale].ratios.items()}
    assert all(slips_of(hz, other) == () for other in published_scales().values())


@pytest.mark.parametrize(
    "off", [{"E": -60}, {"high_A": -70}, {"low_A": 55}, {"high_G": 49, "F": -25}, {"low_G": 70}]
)
def test_a_bad_reed_is_no_slip(off: dict[str, float]) -> None:
    assert _said(_hz(**off)) == []


def test_a_note_without_a_pitch_says_nothing() -> None:
    heard = _hz(E=-100)
    assert _said(heard | {"E": float("nan")}) == _said({note: heard[note] for note in NOTES if note != "E"})
    assert _said(heard) != []


def test_the_same_note_twice_is_no_octave() -> None:
    hz = _hz() | {"high A": _LOW_A_HZ * 2 ** (7 / 1200)}
    assert _said(hz) == [
        "low A and high A are 7 cents apart, and an octave is 1200: one may stand for the other"
    ]
    assert _said({note: hz[note] for note in ("low A", "high A")}) == _said(hz)


def test_swapped_as_are_told_as_swapped() -> None:
    hz = _hz()
    hz["low A"], hz["high A"] = hz["high A"], hz["low A"]
    assert _said(hz) == ["high A lies 1200 cents below low A: the two may be swapped"]


def test_an_octave_a_semitone_short_is_asked_about() -> None:
    assert _said(_hz(high_A=-100)) == [
        "from low A to high A are 1100 cents, and an octave is 1200: one of them may be another note"
    ]


@pytest.mark.parametrize("note", ["B", "C", "D", "E", "F", "high G"])
@pytest.mark.parametrize("cents", [-100.0, 100.0])
def test_a_semitone_on_one_note_names_that_note(note: str, cents: float) -> None:
    (slip,) = slips_of(_hz(**{note.replace(" ", "_"): cents}), DEFAULT_SCALE)
    assert note in slip.notes
    at = NOTES.index(note)
    assert set(slip.notes) <= set(NOTES[at - 1 : at + 2])
    assert "semitone" in slip.said or "swapped" in slip.said


def test_a_low_g_a_semitone_out_is_told_by_its_one_step() -> None:
    assert _said(_hz(low_G=-100)) == [
        "from low G to low A are 331 cents, and 231 in the harmonic scale: "
        "one of them may be a semitone out, or another note"
    ]


def test_all_of_it_sharp_is_no_slip_of_a_note() -> None:
    assert _said({note: hz * 2 ** (100 / 1200) for note, hz in _hz().items()}) == []


def test_the_border() -> None:
    """Control: just within is taken, just beyond is asked about."""
    assert _said(_hz(low_G=-(SLIP_CENTS - 1))) == []
    assert len(_said(_hz(low_G=-(SLIP_CENTS + 1)))) == 1


def test_a_recording_gets_a_remark_and_is_taken() -> None:
    odd = report_on(made_measurement(dict.fromkeys(NOTES, 0.0) | {"E": 100.0}))
    assert [(f.code, f.refuses) for f in odd.measurement.findings] == [("odd-step", False)]
    assert odd.measurement.findings[0].text.startswith("E is 100 cents too high between D and F")
    assert odd.balance is not None
    assert report_on(made_measurement(dict.fromkeys(NOTES, 0.0))).measurement.findings == ()
