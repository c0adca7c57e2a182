"""What can be harmed, in plain words, at the point of use; no medical advice, local rules come first.

Sources: Marshall & Levy 2011 (mouths), 2003/10/EC and NIOSH 98-126 (hearing), King et al. 2017, Thorax 72:380
(mould), IARC monograph 100C (wood dust), Schmidtmann et al. 2011 (eye pressure in wind players), known from
abstracts and listings. The rest is common practice, no source. Guarded by `tests/practice/test_cautions.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from canebench.base.errors import UnknownNameError

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Stands wherever cautions are shown together.
NO_MEDICAL_ADVICE: Final = (
    "These are cautions, not medical advice: local rules and qualified people come before them."
)


class Hazard(StrEnum):
    """What a caution is about. Guarded by `tests/practice/test_cautions.py`."""

    BLOWING = "blowing"
    CEILING = "ceiling"
    HEARING = "hearing"
    MOUTHS = "mouths"
    BLADES = "blades"
    KNIVES = "knives"
    DUST = "dust"
    CLEANING = "cleaning"
    MOULD = "mould"


class Occasion(StrEnum):
    """When a caution is due: the acts of the bench by their own codes, and what else is done with reeds.

    Guarded by `tests/practice/test_cautions.py`.
    """

    PLAY_THE_OCTAVE = "play-the-octave"
    MEASURE_AGAIN = "measure-again"
    SEAT_DEEPER = "seat-deeper"
    RAISE_WITH_HEMP = "raise-with-hemp"
    CHECK_E_AND_C = "check-e-and-c"
    PLAY_ALL_NINE = "play-all-nine"
    TAPE_OFF = "tape-off"
    TAPE = "tape"
    PINCH = "pinch"
    BREAK_IN = "break-in"
    MOVE_THE_DRONES = "move-the-drones"
    CHECK_THE_SEAT = "check-the-seat"
    CHECK_THE_SETTING = "check-the-setting"
    SET_ASIDE = "set-aside"
    LEAVE = "leave"
    INSPECT = "inspect"
    GRADE_STRENGTH = "grade-strength"
    MOUTH_TEST = "mouth-test"
    SCRAPE_OR_TRIM = "scrape-or-trim"
    SAND = "sand"
    CLEAN = "clean"
    STORE = "store"
    PLAY_ALONE = "play-alone"
    PLAY_TOGETHER = "play-together"


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One hazard and how not to come to harm by it. Guarded by `tests/practice/test_cautions.py`.

    Attributes
    ----------
    hazard : Hazard
        Its stable code.
    say : str
        One or two sentences.
    """

    hazard: Hazard
    say: str


#: What to say of each hazard, wherever it arises.
_SAY: Final[Mapping[Hazard, str]] = MappingProxyType(
    {
        Hazard.BLOWING: (
            "Stop at once if you turn dizzy, or if eyes, ears, chest or groin hurt, and take an easier reed. "
            "With eye pressure, a hernia, or heart or lung trouble, ask a doctor before you blow."
        ),
        Hazard.CEILING: (
            "Never go past the ceiling you set for your blowing: a reed that asks for more is set aside. "
            "A doctor, not this program, can say whether that ceiling is right for you."
        ),
        Hazard.HEARING: (
            "Pipes are loud enough to harm hearing: wear ear plugs, keep it short and rest your ears. "
            "Local rules on noise come first, and ringing or dull ears are for a doctor."
        ),
        Hazard.MOUTHS: (
            "One mouth to each reed that is tested by mouth: log whose, and let it rest dry for two days at "
            "least, better five, before another's. Local rules on hygiene come first."
        ),
        Hazard.BLADES: (
            "Hold the reed by the binding and keep off the tips of the blades: they chip, and a split edge "
            "cuts lips and fingers. Force nothing that is stuck."
        ),
        Hazard.KNIVES: (
            "Cut away from the hand, on a plaque or a mandrel that never points at the palm. "
            "Sharp tools are for adults who were shown how by someone qualified; local rules come first."
        ),
        Hazard.DUST: (
            "Dust of cane and hard woods harms skin and lungs: sand wet, wipe up, never blow it off; wear "
            "the mask that local rules ask for. A rash or a cough is for a doctor."
        ),
        Hazard.CLEANING: (
            "No solvent, alcohol, bleach or oil on cane, hide or finished wood: what goes into a reed can go "
            "into a mouth. A clean damp cloth and time to dry do it; local rules come first."
        ),
        Hazard.MOULD: (
            "A mouldy reed goes into the bin, and cap and chanter are cleaned before the next one. "
            "If a cough or short breath comes with playing, stop and ask a doctor."
        ),
    }
)
#: What to say of each hazard, wherever it arises.
CAUTIONS: Final[Mapping[Hazard, Caution]] = MappingProxyType(
    {hazard: Caution(hazard=hazard, say=say) for hazard, say in _SAY.items()}
)
_LOUD: Final = (Hazard.HEARING, Hazard.BLOWING)
_DUE: Final[Mapping[Occasion, tuple[Hazard, ...]]] = MappingProxyType(
    {
        Occasion.PLAY_THE_OCTAVE: _LOUD,
        Occasion.MEASURE_AGAIN: _LOUD,
        Occasion.SEAT_DEEPER: (Hazard.BLADES,),
        Occasion.RAISE_WITH_HEMP: (Hazard.BLADES,),
        Occasion.CHECK_E_AND_C: _LOUD,
        Occasion.PLAY_ALL_NINE: _LOUD,
        Occasion.TAPE_OFF: (Hazard.CLEANING,),
        Occasion.TAPE: (Hazard.CLEANING,),
        Occasion.PINCH: (Hazard.BLADES, Hazard.CEILING),
        Occasion.BREAK_IN: (Hazard.CEILING, Hazard.BLOWING, Hazard.HEARING, Hazard.MOULD),
        Occasion.MOVE_THE_DRONES: _LOUD,
        Occasion.CHECK_THE_SEAT: (Hazard.BLADES, *_LOUD),
        Occasion.CHECK_THE_SETTING: (Hazard.BLADES, *_LOUD),
        Occasion.SET_ASIDE: (Hazard.BLADES, Hazard.MOUTHS),
        Occasion.LEAVE: _LOUD,
        Occasion.INSPECT: (Hazard.BLADES, Hazard.MOULD),
        Occasion.GRADE_STRENGTH: (Hazard.CEILING, Hazard.BLOWING, Hazard.MOUTHS),
        Occasion.MOUTH_TEST: (Hazard.MOUTHS, Hazard.BLOWING, Hazard.BLADES),
        Occasion.SCRAPE_OR_TRIM: (Hazard.KNIVES, Hazard.DUST, Hazard.BLADES),
        Occasion.SAND: (Hazard.DUST, Hazard.BLADES),
        Occasion.CLEAN: (Hazard.CLEANING, Hazard.MOULD),
        Occasion.STORE: (Hazard.MOULD, Hazard.MOUTHS),
        Occasion.PLAY_ALONE: _LOUD,
        Occasion.PLAY_TOGETHER: _LOUD,
    }
)


def cautions_for(occasion: Occasion | str) -> tuple[Caution, ...]:
    """The cautions that are due at an occasion, the gravest first; at least one.

    Common practice and the hazards of the module's sources; no quantity, no equation. Guarded by
    `tests/practice/test_cautions.py`.

    Parameters
    ----------
    occasion : Occasion or str
        Or its code, such as that of an act of the bench.

    Raises
    ------
    UnknownNameError
        For a code that is not in the list, with the nearest.
    """
    try:
        due = _DUE[Occasion(occasion)]
    except ValueError:
        known = [code.value for code in Occasion]
        raise UnknownNameError(field="occasion", given=str(occasion)[:60], known=known) from None
    return tuple(CAUTIONS[hazard] for hazard in due)
