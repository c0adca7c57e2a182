"""How strong reeds are, as the ledger tells: the newest reading that tells it, when, and eased since or not.

Guarded by `tests/doors/test_ledger_commands.py` and `tests/doors/test_choose_command.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.uncertain import Uncertain
from canebench.bench.acts.reeds.eased import NOW, Ease, eased_since, eases_by_reed, pinches_among
from canebench.bench.acts.reeds.rows_by_reed import rows_by_reed
from canebench.reeds.strength import READ_KPA, Strength, against
from canebench.store.records import StrengthRecord

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.store.reader import Reader

#: So many reeds may lie between one and the gauge when they are compared by mouth, one after the other.
_COMPARED: Final = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownStrength:
    """Playing pressure, kPa, when it was read, and "before the pinch" where the reed was eased since."""

    kpa: Uncertain
    at: str
    before: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Strengths:
    """Readings and eases by the reed's row, oldest first, of reeds and of those they were compared with."""

    readings: dict[int, list[StrengthRecord]]
    eases: dict[int, list[Ease]]

    def known(self, reed_id: int) -> KnownStrength | None:
        """The newest reading that tells a reed's strength; by mouth through the reed it was compared with."""
        return self._known(reed_id, NOW, 0)

    def pinches(self, reed_id: int) -> int:
        """How often a reed was pinched in its life."""
        return pinches_among(self.eases.get(reed_id, []))

    def before(self, reed_id: int, at: str, *, until: str = NOW) -> str | None:
        """Whether a reed was eased after `at`, and before `until`."""
        return eased_since(self.eases.get(reed_id, []), at, until=until)

    def _known(self, reed_id: int, asked_at: str, compared: int) -> KnownStrength | None:
        """As it was when asked: else, where it was only read later, as it was then."""
        rows = self.readings.get(reed_id, [])
        then = [row for row in rows if row.at <= asked_at]
        for row in (*reversed(then), *rows[len(then) :]):
            between = sorted((row.at, asked_at))
            before = self.before(reed_id, between[0], until=between[1])
            told = {moment: Uncertain(value=kpa, sd=sd) for moment, (kpa, sd) in row.pressures_kpa.items()}
            if told and (kpa := Strength(**told).playing_kpa) is not None:
                return KnownStrength(kpa=kpa, at=row.at, before=before)
            if row.by_mouth is not None and row.than_reed_id is not None and compared < _COMPARED:
                other = self._known(row.than_reed_id, row.at, compared + 1)
                if other is not None:
                    kpa = against(other.kpa, row.by_mouth)
                    return KnownStrength(kpa=kpa, at=row.at, before=before or other.before)
        return None


def read_strengths(reader: Reader, reed_ids: Sequence[int]) -> Strengths:
    """What the ledger has of these reeds, and of those that they were compared with by mouth."""
    found: dict[int, list[StrengthRecord]] = {}
    wanted = list(reed_ids)
    for _ in range(_COMPARED + 1):
        found |= rows_by_reed(reader, StrengthRecord, wanted)
        named_too = {row.than_reed_id for reed_id in wanted for row in found[reed_id]}
        wanted = [one for one in named_too if one is not None and one not in found]
    return Strengths(readings=found, eases=eases_by_reed(reader, found))


def newest_read(reader: Reader, reed_ids: Sequence[int]) -> dict[int, tuple[str, Uncertain | None]]:
    """When each reed was read last, and what it plays at, kPa; None for that where more has to be read.

    A reed without a reading is not among them.
    """
    names = ("reed_id", "at", "playing_kpa", "playing_sd_kpa")
    return {
        reed_id: (at, None if kpa is None else Uncertain(value=kpa, sd=READ_KPA if sd is None else sd))
        for reed_id, at, kpa, sd in reader.newest_columns(
            StrengthRecord, names, "reed_id", reed_ids, order="at"
        )
    }


def strengths_now(reader: Reader, reed_ids: Sequence[int]) -> tuple[dict[int, KnownStrength], Strengths]:
    """What `Strengths.known` tells of many reeds, and their eases; more is read only where it has to be.

    A newest reading that has the playing pressure itself is enough. Guarded by
    `tests/store/test_choice_by_hand.py`.
    """
    newest = newest_read(reader, reed_ids)
    known, told = {}, Strengths(readings={}, eases=eases_by_reed(reader, reed_ids))
    for reed_id, (at, kpa) in newest.items():
        if kpa is not None:
            known[reed_id] = KnownStrength(kpa=kpa, at=at, before=told.before(reed_id, at))
    rest = [reed_id for reed_id, (_, kpa) in newest.items() if kpa is None]
    through = read_strengths(reader, rest)
    for reed_id in rest:
        if (strength := through.known(reed_id)) is not None:
            known[reed_id] = strength
    return known, told
