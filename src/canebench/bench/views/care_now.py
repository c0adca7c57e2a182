"""What today and this week have had of loud playing, which reeds rest, and the cautions of the bench.

Guarded by `tests/web/test_care.py` and `tests/web/test_care_page.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import day_said, time_said
from canebench.base.uncertain import number
from canebench.bench.acts.band import unit_of, zone_of
from canebench.bench.views.browse_people import told_said
from canebench.bench.views.hearing_dose import hearing
from canebench.care.cautions import CAUTIONS, NO_MEDICAL_ADVICE, Occasion, cautions_for
from canebench.store.records import MouthTestRecord, PlayerRecord, PlayRecord, ReedRecord

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader

#: A piper's own ear, dB(A), where nobody has measured it: an estimate of ours, on the loud side.
USUAL_DBA: Final = 105.0
_SHOWN: Final = 50
#: What is done at a bench, in the order of the work, and what it is called here.
_OCCASIONS: Final = (
    (Occasion.INSPECT, "Looking a reed over"),
    (Occasion.GRADE_STRENGTH, "Grading strength"),
    (Occasion.MOUTH_TEST, "A test by mouth"),
    (Occasion.SEAT_DEEPER, "Seating deeper"),
    (Occasion.RAISE_WITH_HEMP, "Raising with hemp"),
    (Occasion.TAPE, "Tape, on or off"),
    (Occasion.PINCH, "A pinch"),
    (Occasion.BREAK_IN, "Breaking in"),
    (Occasion.PLAY_ALONE, "Playing, alone or together"),
    (Occasion.SCRAPE_OR_TRIM, "Scraping or trimming"),
    (Occasion.SAND, "Sanding"),
    (Occasion.CLEAN, "Cleaning"),
    (Occasion.STORE, "Putting away"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CareNow:
    """Hearing by each rule in words (rule, dose, left today, left this week), and who and what is spared.

    `resting` are (reed, until when), `ceilings` (player's id, name, ceiling or empty),
    `occasions` (what is done, codes of its cautions), `cautions` (code, what it says).
    """

    level_dba: str
    minutes_today: str
    days_before: str
    players: int
    rules: list[tuple[str, str, str, str]]
    resting: list[tuple[str, str]]
    ceilings: list[tuple[int, str, str]]
    occasions: list[tuple[str, list[str]]]
    cautions: list[tuple[str, str]]
    note: str


def care_now(
    ledger: Ledger,
    *,
    level_dba: float | None = None,
    players: int | None = None,
    minutes: float | None = None,
) -> CareNow:
    """From the plays in the ledger; what is given replaces what it says."""
    with ledger.reading() as reader:
        zone, unit = zone_of(reader), unit_of(reader)
        now = ledger.clock().astimezone(zone)
        week = (now - timedelta(days=6)).date().isoformat()
        plays = [
            play
            for play in reader.rows(PlayRecord, order="-at", limit=2_000)
            if day_said(play.at, zone) >= week
        ]
        resting = _resting(reader, now)
        players_rows = reader.rows(PlayerRecord, order="name", limit=_SHOWN)
    days: dict[str, float] = {}
    for play in plays:
        day = day_said(play.at, zone)
        days[day] = days.get(day, 0.0) + play.minutes
    today = now.date().isoformat()
    levels = [play.level_dba for play in plays if play.level_dba is not None]
    level = level_dba if level_dba is not None else max(levels, default=USUAL_DBA)
    played = minutes if minutes is not None else min(1_440.0, days.pop(today, 0.0))
    before = [min(1_440.0, spent) for day, spent in sorted(days.items()) if day != today]
    found = hearing(level_dba=level, players=players or 1, minutes_today=played, days_before=before)
    return CareNow(
        level_dba=number(found.level_dba, 1),
        minutes_today=number(played, 0),
        days_before=f"{' and '.join(number(one, 0) for one in before)} min" if before else "nothing",
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
        resting=resting,
        ceilings=[(row.id, row.name, told_said(row.ceiling_kpa, unit)) for row in players_rows],
        occasions=[(name, [one.hazard.value for one in cautions_for(code)]) for code, name in _OCCASIONS],
        cautions=[(hazard.value, caution.say) for hazard, caution in CAUTIONS.items()],
        note=NO_MEDICAL_ADVICE,
    )


def _resting(reader: Reader, now: datetime) -> list[tuple[str, str]]:
    """Each reed that rests once, until the last of its tests lets it go, the longest first."""
    until: dict[int, str] = {}
    for test in reader.rows(MouthTestRecord, order="-rests_until"):
        if datetime.fromisoformat(test.rests_until) <= now:
            break
        until.setdefault(test.reed_id, time_said(test.rests_until, now.tzinfo))
    reeds = reader.by_id(ReedRecord, until)
    return [(reeds[reed].number, when) for reed, when in until.items() if reed in reeds]
