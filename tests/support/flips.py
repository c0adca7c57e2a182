"""Single bits turned in a ledger's file, and what is said of it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from canebench.store.database import LedgerError
from canebench.store.engine import open_database
from canebench.store.migrate import revision_of
from canebench.store.tables import TABLES
from canebench.store.wholeness.all_amiss import all_amiss

if TYPE_CHECKING:
    import random
    from collections.abc import Callable
    from pathlib import Path

    from canebench.store.tables import Row

#: It is said; everything reads as before; neither; or an error that is not ours.
Verdict = Literal["told", "unused", "missed", "traceback"]
_EVERYTHING: Final = (
    *(f"SELECT * FROM {name}" for name in ("acts", "changes", "alembic_version", *TABLES)),  # noqa: S608
    # The acts' own counter may stand too high: numbers are left out then, and nothing else is wrong.
    "SELECT * FROM counters WHERE name <> 'acts'",
    "SELECT type, name, tbl_name, sql FROM sqlite_master",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flips:
    """How often each verdict fell; and where what was missed lies, as (byte, bit)."""

    verdicts: Counter[str]
    missed: list[tuple[int, int]]


def everything_in(path: Path) -> list[list[Row]]:
    """All that can be read in a ledger's file."""
    with open_database(str(path)).read() as connection:
        return [connection.rows(sql) for sql in _EVERYTHING]


def looked_at(path: Path) -> list[str]:
    """What `doctor` says of a ledger's file; an error of ours is said too."""
    try:
        database = open_database(str(path))
        revision = revision_of(database)
        with database.read() as connection:
            return all_amiss(connection, dialect="sqlite", revision=revision)
    except LedgerError as error:
        return [str(error)]


def flips(
    whole: bytes,
    place: Path,
    chance: random.Random,
    *,
    count: int,
    look: Callable[[Path], list[str]] = looked_at,
) -> Flips:
    """So many times one bit anywhere in a file that is `whole`, each looked at in `place`."""
    place.write_bytes(whole)
    before, verdicts, missed = everything_in(place), Counter[str](), list[tuple[int, int]]()
    for _ in range(count):
        at, bit = chance.randrange(len(whole)), chance.randrange(8)
        damaged = bytearray(whole)
        damaged[at] ^= 1 << bit
        place.write_bytes(damaged)
        verdict = _verdict(place, look, before)
        verdicts[verdict] += 1
        if verdict in ("missed", "traceback"):
            missed.append((at, bit))
    return Flips(verdicts=verdicts, missed=missed)


def _verdict(place: Path, look: Callable[[Path], list[str]], before: list[list[Row]]) -> Verdict:
    try:
        if look(place):
            return "told"
    except Exception:  # noqa: BLE001 - just what is counted
        return "traceback"
    try:
        return "unused" if everything_in(place) == before else "missed"
    except LedgerError:
        return "missed"
