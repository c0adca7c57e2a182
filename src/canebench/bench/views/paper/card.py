"""What the setting card of a reed holds, from the ledger; what is not known is said in words.

Guarded by `tests/doors/test_cards.py`.
"""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from typing import TYPE_CHECKING

from canebench.base.clock.local_time import day_said
from canebench.base.errors import InputError
from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, NOTES
from canebench.base.pressure import PressureUnit, reading_said
from canebench.base.sentences import seat_said
from canebench.base.uncertain import Uncertain, number
from canebench.bench.acts.band import defaults_of
from canebench.bench.acts.ledger import reed_numbered
from canebench.bench.views.drawing.draw_beam import draw_bare
from canebench.bench.views.kept_take import kept_report
from canebench.bench.views.reed_story import reed_story
from canebench.bench.views.verdict import verdict_of
from canebench.bore.chanter_file import generic, parse
from canebench.picture.tape_drawing import TapedHole
from canebench.store.records import ChanterRecord, PitchRecord, PlayerRecord, TapeRecord

if TYPE_CHECKING:
    from canebench.bench.acts.band import BandDefaults
    from canebench.bench.views.reed_story import ReedStory
    from canebench.bore.chanter_file import ChanterFile
    from canebench.store.ledger import Ledger
    from canebench.store.reader import AnyRecord, Reader
    from canebench.store.records import NamedRecord, SettingRecord, StrengthRecord, TakeRecord

#: The beam's drawing on the card, in its own units: letters come out at some 6 points.
_BEAM_WIDTH, _BEAM_HEIGHT = 400.0, 112.0
Words = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A setting card.

    `groups` are headings, each with its rows of label and words; `drawn_after` says whose sizes the holes
    have; `band` is whose card it is, "" where that was not told; `command` is what the code on the card
    says; `beam` draws the newest take, if there is one.
    """

    number: str
    command: str
    state: str
    belongs: Words
    groups: tuple[tuple[str, Words], ...]
    history: str
    printed_on: str
    band: str
    holes: tuple[TapedHole, ...]
    drawn_after: str
    beam: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Newest:
    """The newest setting with its tape, the newest take with its pitches; None where there is none yet.

    `band` is what is settled: whose clock, which unit.
    """

    band: BandDefaults
    setting: SettingRecord | None
    tape_mm: dict[str, float]
    take: TakeRecord | None
    pitches: tuple[PitchRecord, ...]
    chanter: ChanterRecord | None
    player: PlayerRecord | None


def card_of(ledger: Ledger, number: str) -> Card:
    """The card of the reed with that number, as the ledger stands now."""
    with ledger.reading() as reader:
        story = reed_story(reader, reed_numbered(reader, number))
        newest = _newest(reader, story)
    reed, lot = story.reed, story.lot
    file, drawn_after = _chanter(newest.chanter)
    return Card(
        number=reed.number,
        command=command_for(reed.number),
        state=f"{reed.state} since {_day(reed.state_since, newest.band)}",
        belongs=(
            ("Lot", "none" if lot is None else lot.name),
            ("Chanter", _name(newest.chanter)),
            ("Player", _name(newest.player)),
        ),
        groups=(
            _setting_group(newest),
            _balance_group(newest),
            ("Reed", _reed_words(story, newest.band)),
        ),
        history=_history(story, newest.band),
        printed_on=day_said(ledger.clock(), newest.band.zone),
        band=newest.band.name,
        holes=_holes(file, newest.tape_mm),
        drawn_after=drawn_after,
        beam=_beam(newest),
    )


def command_for(number: str) -> str:
    """What tells a reed's story: the words of its code."""
    return f"canebench reed {shlex.quote(number)}"


def _newest(reader: Reader, story: ReedStory) -> _Newest:
    setting = story.settings[-1] if story.settings else None
    take = story.takes[-1] if story.takes else None
    tapes = reader.rows(TapeRecord, {"setting_id": setting.id}) if setting else []
    pitches = reader.rows(PitchRecord, {"take_id": take.id}) if take else []
    chanters = [one.chanter_id for one in (setting, story.reed, take) if one is not None]
    players = [one.player_id for one in (story.reed, take) if one is not None]
    return _Newest(
        band=defaults_of(reader),
        setting=setting,
        tape_mm={tape.hole: tape.covered_mm for tape in tapes},
        take=take,
        pitches=tuple(row for row in pitches if row.note in NOTES),
        chanter=_first(reader, ChanterRecord, chanters),
        player=_first(reader, PlayerRecord, players),
    )


def _first(reader: Reader, record: type[AnyRecord], ids: list[int | None]) -> AnyRecord | None:
    """The chanter or player that is told first."""
    found = next((one for one in ids if one is not None), None)
    return None if found is None else reader.row(record, found)


def _name(row: NamedRecord | None) -> str:
    return "not told" if row is None else row.name


def _day(moment: str, band: BandDefaults) -> str:
    return day_said(moment, band.zone)


def _chanter(row: ChanterRecord | None) -> tuple[ChanterFile, str]:
    """The chanter's sizes, the invented chanter's where nobody measured it, and which of the two."""
    text = None if row is None else row.chanter_toml
    if text is not None:
        try:
            return parse(text, name="the chanter's file"), "Holes to scale, as measured."
        except InputError:
            return generic(), "Chanter's file unreadable; holes as on an invented chanter."
    return generic(), "Chanter not measured; holes as on an invented one."


def _holes(file: ChanterFile, tape_mm: dict[str, float]) -> tuple[TapedHole, ...]:
    return tuple(
        TapedHole(
            name=name,
            position_mm=hole.position_mm,
            diameter_mm=hole.diameter_mm,
            covered_mm=tape_mm.get(name, 0.0),
            at_back=name == HIGH_A,
        )
        for name, hole in zip(HOLES, file.chanter.holes, strict=True)
    )


def _setting_group(newest: _Newest) -> tuple[str, Words]:
    setting = newest.setting
    if setting is None:
        return "Setting", (("Seat", "not written down yet"), ("Tape", "not known"))
    strips = sum(covered > 0 for covered in newest.tape_mm.values())
    words = (
        ("Seat", seat_said(setting.seat_mm)),
        ("Tape", f"{strips} {'strip' if strips == 1 else 'strips'}, as drawn" if strips else "none"),
    )
    return f"Setting, {_day(setting.at, newest.band)}", words


def _balance_group(newest: _Newest) -> tuple[str, Words]:
    take = newest.take
    if take is None:
        return "Balance", (("Take", "none yet: height, tilt and what is left are not known"),)
    title = f"Balance, {_day(take.at, newest.band)}"
    try:
        report = kept_report(take, newest.pitches)
    except InputError:
        return title, (("Take", f"its scale {take.scale} is not among ours: not known"),)
    if report is None:
        return title, (("Take", "it has no reference or no notes: height, tilt and what is left not known"),)
    verdict, scale = verdict_of(report), report.measurement.scale
    return title, (
        ("Height", verdict.height),
        ("Tilt", verdict.tilt),
        ("Left", verdict.left),
        ("Basis", verdict.basis.replace(f"{scale.title} ({scale.name})", scale.name)),
    )


def _beam(newest: _Newest) -> str | None:
    try:
        report = None if newest.take is None else kept_report(newest.take, newest.pitches)
    except InputError:
        return None
    return None if report is None else draw_bare(report, width=_BEAM_WIDTH, height=_BEAM_HEIGHT)


def _reed_words(story: ReedStory, band: BandDefaults) -> Words:
    spells = story.spells
    played = f"{number(story.minutes, 0)} minutes in {spells} {'spell' if spells == 1 else 'spells'}"
    return (
        ("Strength", _strength(story, band)),
        ("Pinches", story.eases_said.rstrip(".").replace("Never pinched", "none")),
        ("Played", played if spells else "not yet"),
    )


def _strength(story: ReedStory, band: BandDefaults) -> str:
    """The newest playing pressure, else the newest comparison by mouth, else that there is none."""
    for row in reversed(story.strengths):
        kpa, sd_kpa = row.playing_kpa, row.playing_sd_kpa
        if kpa is not None:
            read, first = Uncertain(value=kpa, sd=sd_kpa), band.unit or PressureUnit.KPA
            other = PressureUnit.INH2O if first is PressureUnit.KPA else PressureUnit.KPA
            both = f"{reading_said(read, first)} = {reading_said(read, other)}"
            return f"plays at {both}, {_read(story, row, band)}"
    for row in reversed(story.strengths):
        if row.by_mouth is not None:
            return f"by mouth only: {row.by_mouth}, {_read(story, row, band)}"
    return "playing pressure not measured yet"


def _read(story: ReedStory, row: StrengthRecord, band: BandDefaults) -> str:
    """When it was read, and whether the reed was eased since."""
    before = story.before(row.at)
    day = _day(row.at, band)
    return day if before is None else f"{day}, {before}"


def _history(story: ReedStory, band: BandDefaults) -> str:
    """One line: when it came, how many takes, what was done last."""
    acts, takes = story.acts, len(story.takes)
    parts = [f"{takes} {'take' if takes == 1 else 'takes'}" if takes else "no take yet"]
    if acts:
        first, last = (_day(acts[end].at, band) for end in (0, -1))
        parts = [f"Taken in {first}", *parts, f"last: {acts[-1].said}, {last}"]
    return "; ".join(parts) + "."
