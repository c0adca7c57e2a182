"""What a band or workshop has settled, for command and page.

Guarded by `tests/doors/test_settings_command.py` and `tests/web/test_settings.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING
from zoneinfo import available_timezones

from canebench.base.clock.local_time import zone_said
from canebench.base.pressure import PressureUnit
from canebench.base.scales import published_scales
from canebench.base.sentences import listed
from canebench.bench.acts.band import PAPERS, as_typed, band_row, defaults_of, onset_said
from canebench.store.records import ChanterRecord, PlayerRecord

if TYPE_CHECKING:
    from canebench.bench.acts.band import BandDefaults
    from canebench.reeds.forecasts.settled import SettledRule
    from canebench.store.ledger import Ledger


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """What is settled.

    `values` are as one types them, by the names in `SETTLED`, "" where nothing is; `said` is what holds, in
    words, `version` that of the row (0 for none). `low_a_hz` None is drones that are followed. The
    rest is what can be chosen from.
    """

    told: bool
    low_a_hz: float | None
    version: int
    values: dict[str, str]
    said: tuple[tuple[str, str], ...]
    scales: tuple[tuple[str, str], ...]
    units: tuple[str, ...]
    papers: tuple[str, ...]
    lists: tuple[tuple[str, tuple[str, ...]], ...]


def settled(ledger: Ledger) -> Settled:
    """As the ledger stands now."""
    with ledger.reading() as reader:
        band, usual = band_row(reader), defaults_of(reader)
        chanters = reader.rows(ChanterRecord, order="name", limit=200)
        players = reader.rows(PlayerRecord, order="name", limit=200)
    values = as_typed(band, usual)
    return Settled(
        told=any(values.values()),
        low_a_hz=usual.low_a_hz,
        version=0 if band is None else band.version,
        values=values,
        said=_said(usual),
        scales=tuple((scale.name, f"{scale.name}: {scale.title}") for scale in published_scales().values()),
        units=tuple(str(unit) for unit in PressureUnit),
        papers=PAPERS,
        lists=(
            ("zones", tuple(sorted(available_timezones()))),
            ("known-chanters", tuple(row.name for row in chanters)),
            ("known-players", tuple(row.name for row in players)),
        ),
    )


def _said(usual: BandDefaults) -> tuple[tuple[str, str], ...]:
    def last(name: str) -> str:
        value = getattr(usual, name)
        if value is None:
            return "none yet"
        return f"{value}, as in the last fitting" if name in usual.remembered else value

    pitch = "from the drones" if usual.low_a_hz is None else f"low A {usual.low_a_hz:g} Hz"
    return (
        ("Name", usual.name or "none yet"),
        ("Pitch", pitch if usual.low_a_hz is None else f"{pitch}, fixed"),
        ("Scale", f"{usual.scale.title} ({usual.scale.name})"),
        (
            "Pressure",
            "told with its unit" if usual.unit is None else f"in {usual.unit} where no unit is told",
        ),
        ("Times by", zone_said(usual.zone)),
        ("Usual chanter", last("chanter")),
        ("Usual player", last("player")),
        ("Paper", usual.paper),
        ("Breaking in", f"{_minutes(usual.ladder.minutes)}, {usual.ladder.rest_h:g} h of rest after each"),
        ("Settled", _rule_said(usual.rule, usual.unit or PressureUnit.INH2O)),
    )


def _minutes(sessions: tuple[float, ...]) -> str:
    """Sessions in a row that are alike are told once."""
    alike = [(minutes, len(list(same))) for minutes, same in groupby(sessions)]
    words = [f"{minutes:g}" if count == 1 else f"{count} of {minutes:g}" for minutes, count in alike]
    return f"{listed(words)} min, then as long as the last"


def _rule_said(rule: SettledRule, unit: PressureUnit) -> str:
    sessions = "one session" if rule.sessions == 1 else f"{rule.sessions} sessions"
    onset = onset_said(rule.onset_kpa, unit)
    return f"over {sessions} onset moves by less than {onset}, low A by less than {rule.low_a_cents:g} cents"
