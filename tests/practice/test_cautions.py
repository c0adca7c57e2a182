"""Cautions as a careful piper would say them: common practice, no source, where no other is named."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from canebench.base.errors import InputError, UnknownNameError
from canebench.care.cautions import CAUTIONS, NO_MEDICAL_ADVICE, Hazard, Occasion, cautions_for
from canebench.care.strain import check_told, within_ceiling
from canebench.fitting.acts import Act

if TYPE_CHECKING:
    from collections.abc import Iterable

#: Acts in which neither reed nor blades are touched: playing, tape, drones, or nothing.
_HANDS_OFF = {
    Act.PLAY_THE_OCTAVE,
    Act.MEASURE_AGAIN,
    Act.CHECK_E_AND_C,
    Act.PLAY_ALL_NINE,
    Act.TAPE_OFF,
    Act.TAPE,
    Act.MOVE_THE_DRONES,
    Act.LEAVE,
}
_HARDER = re.compile(r"blow\w*\s+(\w+\s+)?(harder|stronger|more)|more pressure|push through", re.IGNORECASE)
_PROMISES = re.compile(r"\b(safe|harmless|cures?|treats?|diagnos\w+|sterile|disinfect\w*)\b", re.IGNORECASE)


def _above() -> str:
    caution = within_ceiling(8.0, 7.0)
    assert caution is not None
    return caution.say


_WORDS = {str(hazard): caution.say for hazard, caution in CAUTIONS.items()}
_ALL = {**_WORDS, "above the ceiling": _above(), "always": NO_MEDICAL_ADVICE}


def _sentences(text: str) -> int:
    return len(re.findall(r"[.!?](?:\s|$)", text))


def _without_caution(acts: Iterable[str]) -> list[str]:
    """Acts for which nothing is said."""
    known = {str(occasion) for occasion in Occasion}
    return [act for act in acts if act not in known or not cautions_for(act)]


@pytest.mark.parametrize("words", _ALL.values(), ids=_ALL)
def test_never_blow_harder(words: str) -> None:
    assert not _HARDER.search(words)


def test_control_blow_harder_is_seen() -> None:
    for words in ("Blow harder.", "If it chokes, blowing much harder helps.", "It needs more pressure."):
        assert _HARDER.search(words)


@pytest.mark.parametrize("words", _ALL.values(), ids=_ALL)
def test_nothing_is_promised(words: str) -> None:
    assert not _PROMISES.search(words)


@pytest.mark.parametrize("words", _WORDS.values(), ids=_WORDS)
def test_each_is_one_or_two_sentences(words: str) -> None:
    assert 1 <= _sentences(words) <= 2
    assert len(words) < 220


def test_each_hazard_to_health_defers_to_a_doctor_or_to_local_rules() -> None:
    """All but the handling of the blades, which is the trade's own."""
    for hazard, caution in CAUTIONS.items():
        assert caution.hazard is hazard
        assert hazard is Hazard.BLADES or "doctor" in caution.say or "ocal rules" in caution.say
    assert "not medical advice" in NO_MEDICAL_ADVICE
    assert "local rules and qualified people" in NO_MEDICAL_ADVICE


def test_blowing_strain_says_stop_and_ask_a_doctor() -> None:
    words = CAUTIONS[Hazard.BLOWING].say
    for word in ("Stop at once", "dizzy", "eye pressure", "hernia", "ask a doctor"):
        assert word in words
    assert "Never go past the ceiling you set" in CAUTIONS[Hazard.CEILING].say


def test_above_the_ceiling_both_pressures_are_told_and_the_reed_is_set_aside() -> None:
    assert _above().startswith("This asks for 32.1 inH2O (8.0 kPa); your ceiling is 28.1 inH2O (7.0 kPa).")
    assert "set aside" in _above()


def test_no_solvent_or_alcohol_on_what_is_organic() -> None:
    for word in ("No solvent, alcohol", "cane, hide or finished wood"):
        assert word in CAUTIONS[Hazard.CLEANING].say


def test_one_mouth_to_a_reed_and_a_rest() -> None:
    """Marshall & Levy 2011: two days at least, five to be cautious."""
    for word in ("One mouth", "two days at least", "better five", "log whose"):
        assert word in CAUTIONS[Hazard.MOUTHS].say


def test_a_reed_is_held_by_the_binding() -> None:
    assert "by the binding" in CAUTIONS[Hazard.BLADES].say


def test_every_act_that_touches_the_reed_has_a_caution() -> None:
    touching = [act for act in Act if act not in _HANDS_OFF]
    assert len(touching) >= 5
    assert _without_caution(touching) == []
    for act in (Act.SEAT_DEEPER, Act.RAISE_WITH_HEMP, Act.PINCH):
        assert Hazard.BLADES in {caution.hazard for caution in cautions_for(act.value)}


def test_control_an_act_without_a_caution_is_seen() -> None:
    assert _without_caution([Act.PINCH, "carve"]) == ["carve"]


@pytest.mark.parametrize("occasion", Occasion)
def test_every_occasion_has_its_cautions_once(occasion: Occasion) -> None:
    due = cautions_for(occasion)
    assert due
    assert len({caution.hazard for caution in due}) == len(due)
    assert due == cautions_for(occasion.value)


def test_every_hazard_is_told_somewhere() -> None:
    told = {caution.hazard for occasion in Occasion for caution in cautions_for(occasion)}
    assert told == set(Hazard)


def test_where_pipes_are_blown_hearing_and_strain_are_told() -> None:
    for occasion in (Occasion.PLAY_TOGETHER, Occasion.BREAK_IN, Occasion.PLAY_ALONE):
        assert {Hazard.HEARING, Hazard.BLOWING} <= {caution.hazard for caution in cautions_for(occasion)}


def test_an_unknown_occasion_is_refused_with_the_nearest() -> None:
    with pytest.raises(UnknownNameError, match="Nearest that works: mouth-test"):
        cautions_for("mouth test")


@pytest.mark.parametrize(
    ("blows", "ceiling", "told", "said"),
    [
        (7.0, 6.0, "ceiling", r"ceiling: 24.1 inH2O \(6.0 kPa\) was given; it lies above .*7.0 kPa"),
        (7.0, 7.0, "ceiling", r"Nearest that works: 30.1 inH2O \(7.5 kPa\) or more"),
        (
            7.0,
            6.0,
            "blows",
            r"what the player blows: 28.1 inH2O \(7.0 kPa\) .* below the ceiling, 24.1 inH2O",
        ),
        (None, 0.0, "ceiling", "ceiling: 0.00 inH2O .* more than 0 is needed.* leave it empty"),
        (0.0, None, "blows", "what the player blows: 0.00 inH2O .* more than 0 is needed"),
        (0.0, 8.0, "blows", "what the player blows"),
    ],
)
def test_a_ceiling_lies_above_what_is_blown_and_both_above_nothing(
    blows: float | None, ceiling: float | None, told: str, said: str
) -> None:
    with pytest.raises(InputError, match=said):
        check_told(blows_kpa=blows, ceiling_kpa=ceiling, told=told)


@pytest.mark.parametrize(("blows", "ceiling"), [(7.0, 7.01), (7.0, None), (None, 6.0), (None, None)])
def test_control_what_a_player_may_tell(blows: float | None, ceiling: float | None) -> None:
    check_told(blows_kpa=blows, ceiling_kpa=ceiling, told="ceiling")
