"""What a rendered take is asked to contain. Guarded by `tests/analytic/test_synth.py`."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE, Scale

if TYPE_CHECKING:
    from canebench.sound.synth.behaviour import PipeBehaviour

#: Drones have settled by then.
_STRUCK_LEAD_S: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedNote:
    """One note of a recipe: how long it is held and how far off the scale it is, cents."""

    note: str
    duration_s: float = 2.0
    offset_cents: float = 0.0

    def __post_init__(self) -> None:
        if self.note not in NOTES:
            raise UnknownNameError(field="note", given=self.note, known=NOTES)
        if not 0.02 <= self.duration_s <= 3600:
            raise InputError(
                field=f"duration of {self.note}",
                given=f"{self.duration_s:g} s",
                allowed="from 0.02 to 3600 s",
                nearest="2 s",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class DronePlan:
    """Three drones. Cents are from half (tenors) and a quarter (bass) of the recipe's low A.

    `level_db` is all drones together (RMS) against the chanter; `start_s` is when they begin to sound.
    """

    level_db: float = 0.0
    bass_cents: float = 0.0
    tenor_cents: tuple[float, ...] = (0.0, 0.0)
    wander_cents: float = 0.0
    start_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """All that a rendered take depends on; the same recipe renders the same samples.

    Parameters
    ----------
    low_a_hz : number, 350 to 600
        Low A of the scale, Hz; every note lies `offset_cents` from its place on it.
    notes : tuple of PlannedNote
    drones : DronePlan or None
    wander_cents : number >= 0
        RMS of the slow wander of the blowing (about `wander_hz`), cents.
    snr_db : number or None
        Chanter power over 1/f noise power (above 50 Hz); None is no noise.
    rt60_s : number or None
        Reverberation time; direct sound over reverberation is `direct_db`.
    graces : bool
        30-60 ms grace notes between the notes.
    pause_s : number >= 0
        Silence of the chanter between the notes.
    behaviour : PipeBehaviour or None
        How pipes waver, drift, swell and creep; None renders the textbook's steady tones, the same samples as
        ever. `jitter` is the textbook's alone; `wander_cents` comes on top of a behaviour.
    """

    low_a_hz: float
    notes: tuple[PlannedNote, ...]
    seed: int
    scale: Scale = field(default=DEFAULT_SCALE)
    drones: DronePlan | None = None
    wander_cents: float = 0.0
    wander_hz: float = 0.7
    jitter: float = 0.01
    snr_db: float | None = None
    rt60_s: float | None = None
    direct_db: float = 3.0
    graces: bool = False
    pause_s: float = 0.0
    lead_s: float = 0.3
    rate_hz: float = 48_000.0
    behaviour: PipeBehaviour | None = None

    def __post_init__(self) -> None:
        if not 350.0 <= self.low_a_hz <= 600.0:
            raise InputError(
                field="low A", given=f"{self.low_a_hz:g} Hz", allowed="from 350 to 600 Hz", nearest="476 Hz"
            )
        if not self.notes:
            raise InputError(field="notes", given="none", allowed="at least one note is needed")


def from_strike_to_cut(recipe: Recipe) -> Recipe:
    """The same take from the striking in of the bag, the chanter two seconds later, to its cutting off.

    Parameters
    ----------
    recipe : Recipe
        One with a behaviour of pipes.

    Returns
    -------
    Recipe
        The same notes from the same seed.

    Raises
    ------
    InputError
        The recipe is a textbook's, whose tones neither strike in nor end.
    """
    if recipe.behaviour is None:
        raise InputError(
            field="take from strike to cut", given="textbook", allowed="it needs a behaviour of pipes"
        )
    whole = replace(recipe.behaviour, strikes_in=True, cuts_off=True)
    return replace(recipe, behaviour=whole, lead_s=_STRUCK_LEAD_S)


def drones_as_tuned(level_db: float) -> DronePlan:
    """Three drones as a good tuner leaves them: within a cent of low A, not dead on it nor quite still.

    Parameters
    ----------
    level_db : number
        All three together (RMS) against the chanter, dB.

    Returns
    -------
    DronePlan
        Bass and two tenors, from -0.6 to 0.8 cents off low A, with a waver of 0.3 cents.
    """
    return DronePlan(level_db=level_db, bass_cents=-0.5, tenor_cents=(0.8, -0.6), wander_cents=0.3)


def scale_notes(
    *names: str, duration_s: float = 2.0, offsets_cents: dict[str, float] | None = None
) -> tuple[PlannedNote, ...]:
    """Planned notes for the names given (all nine when none are), with an offset for each.

    Parameters
    ----------
    *names : str
        Notes in the order they are played; none for the whole scale from low G.
    duration_s : number > 0
        How long each is held, s.
    offsets_cents : mapping of note to number, optional
        How far off the scale each is, cents; 0 for the others.

    Returns
    -------
    tuple of PlannedNote
        One for each name.
    """
    offsets = offsets_cents or {}
    return tuple(
        PlannedNote(note=name, duration_s=duration_s, offset_cents=offsets.get(name, 0.0))
        for name in (names or NOTES)
    )
