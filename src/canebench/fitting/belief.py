"""What is believed of one reed in one chanter, after some takes: a Kalman filter of 27 numbers.

The state is the pitch of each note at the zero point on a bare chanter, and by how much more or less than the
tables say the seat moves each note, tape on each hole its notes, and a pinch all of them:

    pitch_n = c_n + g_n S_n(seat) - sum_h t_h T_hn(tape) + p P_n pinches + blowing.

The c drift from take to take (moisture, break-in, warmth); whoever moves a seat or lays a strip misses the
told amount by a little, which moves them too; g, t and p stay. Given that, the filter is exact (Kalman 1960,
J. Basic Eng. 82:35, eqs. 27 to 31; the update in Joseph's form). Chanters differ, so g and t are known to a
half of themselves at first: a table's slope is a start, never a fact. A take that no such reed could have
played, or which is likelier had the seat stayed, says that the setting told is not the setting: pitches are
then taken anew, and the scales stay.

All spreads are estimates of ours. Guarded by `tests/analytic/test_belief.py`,
`tests/analytic/test_belief_sizes.py` and `benchmarks/rounds.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.fitting.effects import PITCH, SEAT, SIZE, TAPE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import BoolArray, FloatArray
    from canebench.base.setting import Setting
    from canebench.fitting.effects import EffectTables

_NINE: Final = len(NOTES)
#: Each note's place along the scale, low G to high A, from -1 to 1.
_ALONG: Final = np.linspace(-1.0, 1.0, _NINE)

#: Before the first take, cents: all notes together, the tilt over the scale, and each note by itself.
_UNHEARD_CENTS: Final = (100.0, 15.0, 10.0)
#: Shares by which the tables may be wrong: the seat on all notes, its tilt, each note; tape; a pinch.
_SEAT_SHARES: Final = (0.4, 0.3, 0.15)
_TAPE_SHARE, _PINCH_SHARE = 0.8, 0.7
#: From take to take the reed and the breath move all notes together, the tilt, and each note, cents.
_DRIFT_CENTS: Final = (2.0, 0.7, 0.5)
#: A room warmer by a degree sharpens all notes by so much, and how sure that is, cents: half of what the air
#: in the bore does (3.4 cents a degree), since breath warms the rest. An estimate of ours.
_ROOM_CENTS: Final = (1.7, 1.0)
#: How one breath differs from the next, cents: all notes, and each.
BREATH_CENTS: Final = (2.0, 1.0)
#: What hands miss of a told seat and strip, mm.
_HAND_SEAT_MM, _HAND_TAPE_MM = 0.1, 0.15
#: A take this much less likely than expected (mean square of its surprise, for each note) is not believed.
_SURPRISE: Final = 4.0
#: A seat that is told as moved stayed, or went the other way, where the take is so much likelier then: the
#: logarithms of the odds for hands that do as they say, 20 and 50 to 1 (estimates of ours).
_STAYED, _TURNED = math.log(20.0), math.log(50.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardTake:
    """One take as the filter needs it: its setting, cents (9,) on any one scale of pitch, NaN if not played.

    `sd_cents` (9,) is the uncertainty of each as a reading of that breath, `room_degc` the room's, °C.
    """

    setting: Setting
    cents: FloatArray
    sd_cents: FloatArray
    room_degc: float | None = None

    @property
    def played(self) -> BoolArray:
        """Which notes were."""
        return np.isfinite(self.cents)


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """State `mean` (27,) and `covariance`, after takes the last of which was `heard`.

    `doubtful` says that the last take hardly fits the setting told, `silent_seat` that the seat was said to
    have been moved and the notes did not answer.
    """

    tables: EffectTables
    mean: FloatArray
    covariance: FloatArray
    heard: HeardTake | None = None
    doubtful: bool = False
    silent_seat: bool = False

    def predict(self, settings: Sequence[Setting]) -> tuple[FloatArray, FloatArray]:
        """Cents (n, 9) in each setting, and their covariance (n, 9, 9), hands included, breath not."""
        design = np.stack([self.tables.design(setting) for setting in settings])
        cents = design @ self.mean
        covariance = design @ self.covariance @ np.swapaxes(design, 1, 2)
        if self.heard is not None:
            covariance = covariance + np.stack([self._hands(self.heard.setting, own) for own in settings])
        return cents, covariance

    def seat_per_mm(self, depth_mm: float) -> tuple[FloatArray, FloatArray]:
        """Cents (9,) of each note for a millimetre deeper, and their sd."""
        table, own = self.tables.seat_per_mm(depth_mm), self.covariance[SEAT, SEAT]
        return table * self.mean[SEAT], np.abs(table) * np.sqrt(np.diag(own))

    def effect(self, before: Setting, after: Setting) -> tuple[FloatArray, FloatArray]:
        """Cents (9,) by which each note moves from one setting to the other, and their sd; hands apart."""
        change = self.tables.design(after) - self.tables.design(before)
        variance = np.einsum("np,pq,nq->n", change, self.covariance, change)
        return change @ self.mean, np.sqrt(np.maximum(variance, 0.0))

    def after(self, heard: HeardTake) -> Belief:
        """What is believed when one more take was heard."""
        waited = self if self.heard is None else self._waited(heard)
        surprise, expected, noise = waited._expected(heard)  # noqa: SLF001 - of its own kind
        # After a question the next take counts as it is: what was told may have been set right with it.
        asked = self.heard is None or self.doubtful or self.silent_seat
        silent, turned = (False, False) if asked else self._unmoved(heard, _log_density(surprise, expected))
        far = surprise @ np.linalg.solve(expected, surprise) > _SURPRISE * len(surprise)
        doubtful = not asked and not silent and bool(far or turned)
        if doubtful or silent or asked:
            waited = waited._forgetting_pitches()  # noqa: SLF001 - of its own kind
            surprise, expected, noise = waited._expected(heard)  # noqa: SLF001 - of its own kind
        design = self.tables.design(heard.setting)[heard.played]
        gain = np.linalg.solve(expected, design @ waited.covariance).T
        kept = np.eye(SIZE) - gain @ design
        return replace(
            waited,
            mean=waited.mean + gain @ surprise,
            covariance=kept @ waited.covariance @ kept.T + gain @ noise @ gain.T,
            heard=heard,
            doubtful=doubtful,
            silent_seat=silent,
        )

    def _waited(self, heard: HeardTake) -> Belief:
        """The same before the next take: the reed has drifted, hands were at work, the room has changed."""
        last = self.heard
        assert last is not None  # noqa: S101 - for the type checker
        warmer = _warmer(last, heard)
        covariance, mean = self.covariance.copy(), self.mean.copy()
        mean[PITCH] += _ROOM_CENTS[0] * warmer
        covariance[PITCH, PITCH] += _spread(*_DRIFT_CENTS) + (_ROOM_CENTS[1] * warmer) ** 2
        covariance[PITCH, PITCH] += self._hands(last.setting, heard.setting)
        return replace(self, mean=mean, covariance=covariance)

    def _hands(self, before: Setting, after: Setting) -> FloatArray:
        """Covariance (9, 9) of what is missed of the told amounts from one setting to the other."""
        found = np.zeros((_NINE, _NINE))
        if after.seat_mm != before.seat_mm:
            missed = _HAND_SEAT_MM * self.tables.seat_per_mm(after.seat_mm)
            found += np.outer(missed, missed)
        for hole, covered in after.tape_mm.items():
            if covered != before.tape_mm.get(hole):
                missed = _HAND_TAPE_MM * self.tables.tape_per_mm(hole, covered)
                found += np.outer(missed, missed)
        return found

    def _forgetting_pitches(self) -> Belief:
        covariance = self.covariance.copy()
        covariance[PITCH, :] = 0.0
        covariance[:, PITCH] = 0.0
        covariance[PITCH, PITCH] = _spread(*_UNHEARD_CENTS)
        return replace(self, covariance=covariance)

    def _unmoved(self, heard: HeardTake, told: float) -> tuple[bool, bool]:
        """Whether the take speaks for a seat that stayed where it was, and for one that went the other way.

        Both as settings of their own, weighed by their evidence (the density of what was heard before it was)
        beside that of the setting told, against odds for hands that did as they say.
        """
        last = self.heard
        assert last is not None  # noqa: S101 - for the type checker
        setting, was_mm = heard.setting, last.setting.seat_mm
        if setting.seat_mm == was_mm:
            return False, False
        still, back = (
            self._log_evidence(replace(heard, setting=replace(setting, seat_mm=seat_mm)))
            for seat_mm in (was_mm, 2 * was_mm - setting.seat_mm)
        )
        return still - told > _STAYED and still > back, back - told > _TURNED and back >= still

    def _log_evidence(self, heard: HeardTake) -> float:
        """How well a take fits, before it is heard, the setting it is told with."""
        surprise, expected, _ = self._waited(heard)._expected(heard)  # noqa: SLF001 - of its own kind
        return _log_density(surprise, expected)

    def _expected(self, heard: HeardTake) -> tuple[FloatArray, FloatArray, FloatArray]:
        """What was not foreseen of a take (m,), the covariance of that and the part of noise (m, m)."""
        played = heard.played
        design = self.tables.design(heard.setting)[played]
        noise = np.diag(heard.sd_cents[played] ** 2 + BREATH_CENTS[1] ** 2) + BREATH_CENTS[0] ** 2
        return heard.cents[played] - design @ self.mean, design @ self.covariance @ design.T + noise, noise


def _log_density(surprise: FloatArray, expected: FloatArray) -> float:
    """The logarithm of the density of a take, but for what is the same in every setting."""
    return -0.5 * float(surprise @ np.linalg.solve(expected, surprise) + np.linalg.slogdet(expected)[1])


def _warmer(last: HeardTake, heard: HeardTake) -> float:
    """By how many degrees the room is warmer; 0 where it was not told with both."""
    if last.room_degc is None or heard.room_degc is None:
        return 0.0
    return heard.room_degc - last.room_degc


def believed(tables: EffectTables, takes: Sequence[HeardTake]) -> Belief:
    """Start from the tables and hear every take.

    Parameters
    ----------
    tables : EffectTables
        What seat, tape and a pinch usually do.
    takes : sequence of HeardTake
        Oldest first; none leaves what is thought before the first.

    Returns
    -------
    Belief
    """
    scales = np.zeros((SIZE, SIZE))
    scales[SEAT, SEAT] = _spread(*_SEAT_SHARES)
    scales[TAPE, TAPE] = _TAPE_SHARE**2 * np.eye(len(HOLES))
    scales[-1, -1] = _PINCH_SHARE**2
    scales[PITCH, PITCH] = _spread(*_UNHEARD_CENTS)
    mean = np.ones(SIZE)
    mean[PITCH] = 0.0
    found = Belief(tables=tables, mean=mean, covariance=scales)
    for heard in takes:
        found = found.after(heard)
    return found


def _spread(together: float, tilt: float, each: float) -> FloatArray:
    """Covariance (9, 9) of a common part, one that grows along the scale, and each note's own."""
    return np.asarray(together**2 + tilt**2 * np.outer(_ALONG, _ALONG) + each**2 * np.eye(_NINE))
