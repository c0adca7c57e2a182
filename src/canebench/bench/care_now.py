"""What today and this week have had of loud playing, which reeds rest, and the cautions of the bench.

Guarded by `tests/web/test_care.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.uncertain import number
from canebench.bench.hearing import hearing
from canebench.care.cautions import CAUTIONS, NO_MEDICAL_ADVICE
from canebench.store.values import written

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger

#: A piper's own ear, dB(A), where nobody has measured it: an estimate of ours, on the loud side.
USUAL_DBA: Final = 105.0
_SHOWN: Final = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class CareNow:
    """Hearing by each rule in words (rule, dose, left today, left this week), resting reeds, cautions."""

    level_dba: str
    minutes_today: str
    days_before: str
    players: int
    rules: list[tuple[str, str, str, str]]
    resting: list[tuple[str, str]]
    cautions: list[str]
    note: str


def care_now(
    ledger: Ledger,
    *,
    level_dba: float | None = None,
    players: int | None = None,
    minutes: float | None = None,
) -> CareNow:
    """From the plays in the ledger; what is given replaces what it says."""
    now = ledger.clock()
    week = written(now - timedelta(days=6))
    with ledger.reading() as reader:
        plays = [
            row for row in reader.rows("plays", order="-at", limit=2_000) if str(row["at"])[:10] >= week[:10]
        ]
        tests = reader.rows("mouth_tests", order="-rests_until", limit=_SHOWN)
        numbers = {
            row["id"]: row["number"] for row in reader.of_many("reeds", "id", [t["reed_id"] for t in tests])
        }
    days: dict[str, float] = {}
    for row in plays:
        day = str(row["at"])[:10]
        days[day] = days.get(day, 0.0) + float(row["minutes"] or 0.0)
    today = now.date().isoformat()
    levels = [float(row["level_dba"]) for row in plays if row["level_dba"] is not None]
    level = level_dba if level_dba is not None else max(levels, default=USUAL_DBA)
    played = minutes if minutes is not None else min(1_440.0, days.pop(today, 0.0))
    before = [min(1_440.0, spent) for day, spent in sorted(days.items()) if day != today]
    found = hearing(level_dba=level, players=players or 1, minutes_today=played, days_before=before)
    return CareNow(
        level_dba=number(found.level_dba, 1),
        minutes_today=number(played, 0),
        days_before=", ".join(number(one, 0) for one in before) or "none",
        players=players or 1,
        rules=[
            (
                rule.name,
                f"{number(exposure.dose_percent, 0)} %",
                f"{number(left.today_min, 0)} min",
                "no week in this rule" if left.week_min is None else f"{number(left.week_min, 0)} min",
            )
            for rule, exposure, left in found.by_rule
        ],
        resting=[
            (str(numbers.get(row["reed_id"], "?")), str(row["rests_until"])[:16].replace("T", " "))
            for row in tests
            if datetime.fromisoformat(str(row["rests_until"])) > now
        ],
        cautions=[caution.say for caution in CAUTIONS.values()],
        note=NO_MEDICAL_ADVICE,
    )
