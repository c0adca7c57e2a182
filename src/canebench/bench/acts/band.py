"""What a band or workshop settles once, and what everything else then begins with.

An option, or what is said for one fitting, always wins. What was never settled is as it always was: harmonic,
drones that follow, this machine's clock; chanter and player are those of the last fitting. Guarded by
`tests/doors/test_settings_command.py` and `tests/web/test_settings.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

from canebench.base.clock.local_time import zone_named
from canebench.base.errors import InputError, UnknownNameError
from canebench.base.parsing import count_from, number_from
from canebench.base.pressure import PressureUnit, from_kpa
from canebench.base.scales import DEFAULT_SCALE, Scale, scale_named
from canebench.bench.acts.ledger import named
from canebench.reeds.breaking_in.ladder import USUAL_LADDER, Ladder, ladder_from
from canebench.reeds.forecasts.settled import USUAL_RULE, SettledRule, rule_from
from canebench.store.records import BandRecord, ChanterRecord, PlayerRecord, TakeRecord

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import tzinfo

    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader
    from canebench.store.tables import Value

PaperName = Literal["A4", "Letter"]
PAPERS: Final[tuple[PaperName, ...]] = ("A4", "Letter")
DRONES: Final = "drones"
#: What can be settled, each by the name it goes by in forms and options, and what it is called.
SETTLED: Final = {
    "name": "name",
    "pitch": "pitch",
    "scale": "scale",
    "pressure": "pressure unit",
    "zone": "time zone",
    "chanter": "usual chanter",
    "player": "usual player",
    "paper": "paper",
    "sessions": "sessions of breaking in",
    "rest": "hours of rest after each",
    "settled_onset": "onset of a settled reed",
    "settled_low_a": "cents of a settled reed’s low A",
    "settled_sessions": "sessions of a settled reed",
}
_NUMBERS: Final = ("pitch", "rest", "settled_low_a", "settled_sessions")
_COLUMNS: Final = {
    "pitch": "low_a_hz",
    "pressure": "pressure_unit",
    "zone": "time_zone",
    "chanter": "chanter_id",
    "player": "player_id",
    "sessions": "session_minutes",
    "rest": "rest_h",
    "settled_onset": "settled_onset_kpa",
    "settled_low_a": "settled_low_a_cents",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BandDefaults:
    """What is in force now.

    `low_a_hz` None lets drones follow low A; `unit` None means that pressures are told with theirs; `zone`
    None is this machine's. `chanter` and `player` are names, of the last fitting where `remembered`. `ladder`
    has a reed's sessions of breaking in, `rule` when it counts as settled.
    """

    name: str = ""
    low_a_hz: float | None = None
    scale: Scale = DEFAULT_SCALE
    unit: PressureUnit | None = None
    zone: tzinfo | None = None
    chanter: str | None = None
    player: str | None = None
    paper: PaperName = "A4"
    ladder: Ladder = USUAL_LADDER
    rule: SettledRule = USUAL_RULE
    remembered: tuple[str, ...] = ()

    @property
    def settled_player(self) -> str | None:
        """The usual player where one is settled, and not only remembered."""
        return None if "player" in self.remembered else self.player

    @property
    def aim_said(self) -> str:
        """Pitch and scale in words."""
        pitch = "the drones" if self.low_a_hz is None else f"low A {self.low_a_hz:g} Hz"
        return f"{pitch}, scale {self.scale.name}"


def band_row(reader: Reader) -> BandRecord | None:
    """The row in force; None where nothing was settled yet."""
    found = reader.rows(BandRecord, limit=1)
    return found[0] if found else None


def zone_of(reader: Reader) -> tzinfo | None:
    """Whose clock times are told by; None for this machine's."""
    return _zone(band_row(reader))


def ladder_of(reader: Reader) -> Ladder:
    """How long a reed's sessions of breaking in are here."""
    return _ladder(band_row(reader))


def rule_of(reader: Reader) -> SettledRule:
    """When a reed counts as settled here."""
    return _rule(band_row(reader))


def unit_of(reader: Reader) -> PressureUnit | None:
    """What a pressure without a unit is in; None where it needs one."""
    band = band_row(reader)
    return None if band is None or band.pressure_unit is None else PressureUnit(band.pressure_unit)


def defaults_of(reader: Reader) -> BandDefaults:
    """All that is in force, with what the last fitting was of where nothing is settled."""
    band = band_row(reader)
    chanter_id, player_id = (None, None) if band is None else (band.chanter_id, band.player_id)
    remembered = []
    if chanter_id is None or player_id is None:
        last = reader.rows(TakeRecord, order="-at", limit=1)
        if last and chanter_id is None:
            chanter_id = last[0].chanter_id
            remembered += ["chanter"] if chanter_id is not None else []
        if last and player_id is None:
            player_id = last[0].player_id
            remembered += ["player"] if player_id is not None else []
    chanters = reader.by_id(ChanterRecord, [chanter_id])
    players = reader.by_id(PlayerRecord, [player_id])
    found = BandDefaults(
        chanter=chanters[chanter_id].name if chanter_id in chanters else None,
        player=players[player_id].name if player_id in players else None,
        remembered=tuple(remembered),
    )
    if band is None:
        return found
    return replace(
        found,
        name=band.name or "",
        low_a_hz=band.low_a_hz,
        scale=_scale(band),
        unit=None if band.pressure_unit is None else PressureUnit(band.pressure_unit),
        zone=_zone(band),
        paper=band.paper or "A4",
        ladder=_ladder(band),
        rule=_rule(band),
    )


def as_typed(band: BandRecord | None, usual: BandDefaults) -> dict[str, str]:
    """What is settled by the names in `SETTLED`, as one types it; "" where nothing is."""
    if band is None:
        return dict.fromkeys(SETTLED, "")
    own = {name: getattr(usual, name) or "" for name in ("chanter", "player") if name not in usual.remembered}
    numbers = {name: getattr(band, _column(name)) for name in _NUMBERS}
    onset_kpa = band.settled_onset_kpa
    return {
        **dict.fromkeys(SETTLED, ""),
        **{name: "" if value is None else f"{value:g}" for name, value in numbers.items()},
        "name": band.name or "",
        "scale": band.scale or "",
        "pressure": band.pressure_unit or "",
        "zone": band.time_zone or "",
        "paper": band.paper or "",
        "sessions": band.session_minutes or "",
        "settled_onset": "" if onset_kpa is None else onset_said(onset_kpa, usual.unit or PressureUnit.INH2O),
        **own,
    }


def onset_said(kpa: float, unit: PressureUnit) -> str:
    """By how much an onset moves: less than a gauge's digits tell."""
    return f"{from_kpa(kpa, unit):.3g} {unit}"


def band_defaults(ledger: Ledger) -> BandDefaults:
    """The same, of a ledger."""
    with ledger.reading() as reader:
        return defaults_of(reader)


def settle(
    ledger: Ledger, told: Mapping[str, str | None], *, who: str, version: int | None = None
) -> BandDefaults:
    """Settle what is told, by the names in `SETTLED`, as typed; an empty text or None settles it no more.

    `version` is that of the row as it was read (0 for none): a change since then is refused.
    """
    for name in told:
        if name not in SETTLED:
            raise UnknownNameError(field="setting", given=name, known=SETTLED)
    with ledger.reading() as reader:
        band = band_row(reader)
        shown = as_typed(band, defaults_of(reader))
        # What is sent as it was shown settles nothing anew, however it was rounded for that.
        new = {name: text for name, text in told.items() if (text or "").strip() != shown[name]}
        values = {column: value for name, text in new.items() for column, value in _read(reader, name, text)}
    before = {} if band is None else band.values()
    changed = {name: value for name, value in values.items() if before.get(name) != value}
    if changed:
        said = "; ".join(_said(name, told.get(name), changed) for name in SETTLED if _column(name) in changed)
        with ledger.act("settings", who=who, said=f"settled {said}") as act:
            band = band_row(act)
            if band is None:
                act.insert("bands", {**changed, "at": act.at})
            else:
                read = band if version is None else replace(band, version=version)
                act.update(read, {**changed, "at": act.at})
    return band_defaults(ledger)


def _column(name: str) -> str:
    return _COLUMNS.get(name, name)


def _read(reader: Reader, name: str, text: str | None) -> list[tuple[str, Value]]:
    """The column, and what was typed as it is kept."""
    given = (text or "").strip()
    value: Value = given or None
    if not given:
        pass
    elif name == "pitch":
        value = pitch_from(given)
    elif name == "scale":
        value = scale_named(given).name
    elif name == "pressure":
        value = _one_of("pressure unit", given, list(PressureUnit))
    elif name == "paper":
        value = _one_of("paper", given, PAPERS)
    elif name == "zone":
        value = str(zone_named(given))
    elif name == "chanter":
        value = named(reader, ChanterRecord, given).id
    elif name == "player":
        value = named(reader, PlayerRecord, given).id
    elif name != "name":
        value = _break_in(name, given)
    return [(_column(name), value)]


def _break_in(name: str, given: str) -> Value:
    """What is typed of breaking in, read as a plan or a forecast reads it."""
    if name == "sessions":
        return ", ".join(f"{one:g}" for one in ladder_from(given).minutes)
    if name == "rest":
        return ladder_from(rest_h=given).rest_h
    if name == "settled_onset":
        return rule_from(onset=given).onset_kpa
    if name == "settled_low_a":
        return rule_from(low_a=given).low_a_cents
    return rule_from(sessions=count_from(given, SETTLED[name])).sessions


def pitch_from(given: str) -> float | None:
    """A fixed low A, Hz; None for drones that are followed."""
    if given.strip().lower() in (DRONES, "from the drones", "low a", "low-a"):
        return None
    return number_from(given.lower().strip().removesuffix("hz"), "pitch", or_else=DRONES)


def _one_of(field: str, given: str, known: list[PressureUnit] | tuple[str, ...]) -> str:
    found = {str(one).lower(): str(one) for one in known}.get(given.lower())
    if found is None:
        raise UnknownNameError(field=field, given=given, known=[str(one) for one in known])
    return found


def _said(name: str, typed: str | None, changed: Mapping[str, Value]) -> str:
    value = changed[_column(name)]
    if name == "pitch":
        return "pitch: from the drones" if value is None else f"pitch: low A {value:g} Hz"
    if value is None:
        return f"no {SETTLED[name]}"
    return f"{SETTLED[name]}: {typed if name in ('chanter', 'player', 'settled_onset') else value}"


def _scale(band: BandRecord) -> Scale:
    """A scale of another bench, come in with an import, counts for nothing here."""
    try:
        return DEFAULT_SCALE if band.scale is None else scale_named(band.scale)
    except UnknownNameError:
        return DEFAULT_SCALE


def _zone(band: BandRecord | None) -> tzinfo | None:
    if band is None or band.time_zone is None:
        return None
    try:
        return zone_named(band.time_zone)
    except InputError:
        # A zone that this machine's tables do not have: its own clock will do.
        return None


def _ladder(band: BandRecord | None) -> Ladder:
    if band is None:
        return USUAL_LADDER
    try:
        return ladder_from(
            band.session_minutes or "",
            "" if band.rest_h is None else f"{band.rest_h:g}",
            marked="as settled for the band",
        )
    except InputError:
        # Sessions that came in with an import and are none: the usual ones will do.
        return USUAL_LADDER


def _rule(band: BandRecord | None) -> SettledRule:
    if band is None:
        return USUAL_RULE
    onset_kpa, low_a_cents, sessions = band.settled_onset_kpa, band.settled_low_a_cents, band.settled_sessions
    try:
        return replace(
            USUAL_RULE,
            onset_kpa=USUAL_RULE.onset_kpa if onset_kpa is None else onset_kpa,
            low_a_cents=USUAL_RULE.low_a_cents if low_a_cents is None else low_a_cents,
            sessions=USUAL_RULE.sessions if sessions is None else sessions,
        )
    except InputError:
        return USUAL_RULE
