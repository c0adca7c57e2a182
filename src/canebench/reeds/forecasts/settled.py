"""Whether a reed has settled, by a rule that can be changed, and when it will have.

A rule of ours in words of the trade: over three sessions onset pressure moves by less than half an inch of
water and low A by less than three cents. Guarded by `tests/practice/test_breaking_in.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from canebench.base.errors import InputError
from canebench.base.parsing import number_from
from canebench.base.pressure import PressureUnit, parse_pressure, to_kpa


@dataclass(frozen=True, slots=True, kw_only=True)
class SettledRule:
    """When a reed counts as settled.

    Attributes
    ----------
    onset_kpa, low_a_cents : float > 0
        It moves by less than this over so many sessions.
    sessions : int >= 1
        How many.
    session_min, session_days : float > 0
        How long a session is, and how many days one is after another, where the reed's own log does not say.
    sure : float
        From this chance on, 0 to 1, it is called settled.
    after_min : float > 0
        What is called its settled value: where it will be once it has been played so long in all.
    """

    onset_kpa: float = to_kpa(0.5, PressureUnit.INH2O)
    low_a_cents: float = 3.0
    sessions: int = 3
    session_min: float = 15.0
    session_days: float = 1.5
    sure: float = 0.8
    after_min: float = 450.0

    def __post_init__(self) -> None:
        for field in ("onset_kpa", "low_a_cents", "session_min", "session_days", "after_min"):
            value = getattr(self, field)
            if not 0.0 < value < float("inf"):
                raise InputError(
                    field=field.replace("_", " "), given=f"{value:g}", allowed="a number above 0 is needed"
                )
        if self.sessions < 1:
            raise InputError(field="sessions", given=f"{self.sessions}", allowed="one at the least")
        if not 0.5 <= self.sure < 1.0:
            raise InputError(field="sure", given=f"{self.sure:g}", allowed="a chance from 0.5 to below 1")


#: As it stands unless another is given.
USUAL_RULE: Final = SettledRule()


def rule_from(
    onset: str = "", low_a: str = "", sessions: int | None = None, *, usual: SettledRule = USUAL_RULE
) -> SettledRule:
    """The rule with what is told, as it is typed; the rest is as usual.

    Parameters
    ----------
    onset : str
        By less than this onset pressure moves: "0.5 inH2O".
    low_a : str
        By less than this low A moves, cents.
    sessions : int or None
        Over so many sessions.
    usual : SettledRule
        What holds where nothing is told.

    Returns
    -------
    SettledRule
        The usual one where nothing is told.

    Raises
    ------
    InputError
        As `SettledRule` does, and for what is no pressure or number. Guarded by
        `tests/doors/test_forecast_command.py`.
    """
    return replace(
        usual,
        onset_kpa=parse_pressure(onset, field="onset", unit=PressureUnit.INH2O).kpa
        if onset
        else usual.onset_kpa,
        low_a_cents=number_from(low_a, "low A") if low_a else usual.low_a_cents,
        sessions=usual.sessions if sessions is None else sessions,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """Whether and when.

    Attributes
    ----------
    curve : tuple of (float, float)
        Minutes still to be played, 0 to 800, and the chance that it has settled then, which never falls.
    settled : bool
        Whether the chance now is sure enough; never from one reading.
    """

    curve: tuple[tuple[float, float], ...]
    settled: bool

    @property
    def chance(self) -> float:
        """That it has settled now, by the rule."""
        return self.curve[0][1]

    @property
    def most(self) -> float:
        """What the chance comes to, however long it is played."""
        return self.curve[-1][1]

    def after_min(self, chance: float) -> float | None:
        """Minutes still to be played until it has settled with that chance; None beyond the curve."""
        return next((minutes for minutes, then in self.curve if then >= chance), None)

    @property
    def middle_min(self) -> float | None:
        """The same as likely as not."""
        return self.after_min(0.5)
