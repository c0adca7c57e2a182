"""What the setting card of a reed holds, from the ledger; what is not known is said in words.

Guarded by `tests/doors/test_cards.py`.
"""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from canebench.base.errors import InputError
from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, NOTES
from canebench.base.pressure import kpa_to_inh2o
from canebench.base.sentences import seat_said
from canebench.base.uncertain import Uncertain, number
from canebench.bench.acts.ledger import number_of
from canebench.bench.acts.reeds.stock import reed_story
from canebench.bench.views.drawing.draw_beam import draw_bare
from canebench.bench.views.kept_take import kept_report
from canebench.bench.views.verdict import verdict_of
from canebench.bore.chanter_file import generic, parse
from canebench.picture.tape_drawing import TapedHole

if TYPE_CHECKING:
    from canebench.bore.chanter_file import ChanterFile
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader
    from canebench.store.tables import Row

#: The beam's drawing on the card, in its own units: letters come out at some 6 points.
_BEAM_WIDTH, _BEAM_HEIGHT = 400.0, 112.0
Words = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A setting card.

    `groups` are headings, each with its rows of label and words; `drawn_after` says whose sizes the holes
    have; `command` is what the code on the card says; `beam` draws the newest take, if there is one.
    """

    number: str
    command: str
    state: str
    belongs: Words
    groups: tuple[tuple[str, Words], ...]
    history: str
    printed_on: str
    holes: tuple[TapedHole, ...]
    drawn_after: str
    beam: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Newest:
    """The newest setting with its tape, the newest take with its pitches; None where there is none yet."""

    setting: Row | None
    tape_mm: dict[str, float]
    take: Row | None
    pitches: tuple[Row, ...]
    chanter: Row | None
    player: Row | None


def card_of(ledger: Ledger, number: str) -> Card:
    """The card of the reed with that number, as the ledger stands now."""
    story = reed_story(ledger, number)
    with ledger.reading() as reader:
        newest = _newest(reader, story)
    reed, lot = story["reed"], story["lot"]
    file, drawn_after = _chanter(newest.chanter)
    return Card(
        number=str(reed["number"]),
        command=command_for(str(reed["number"])),
        state=f"{reed['state']} since {_day(reed['state_since'])}",
        belongs=(
            ("Lot", str(lot["name"]) if lot else "none"),
            ("Chanter", _name(newest.chanter)),
            ("Player", _name(newest.player)),
        ),
        groups=(
            _setting_group(newest),
            _balance_group(newest),
            ("Reed", _reed_words(story)),
        ),
        history=_history(story),
        printed_on=ledger.clock().date().isoformat(),
        holes=_holes(file, newest.tape_mm),
        drawn_after=drawn_after,
        beam=_beam(newest),
    )


def command_for(number: str) -> str:
    """What tells a reed's story: the words of its code."""
    return f"canebench reed {shlex.quote(number)}"


def _newest(reader: Reader, story: dict[str, Any]) -> _Newest:
    reed, settings, takes = story["reed"], story["settings"], story["takes"]
    setting, take = (settings[-1] if settings else None), (takes[-1] if takes else None)
    tapes = reader.rows("tapes", {"setting_id": setting["id"]}) if setting else []
    pitches = reader.rows("pitches", {"take_id": take["id"]}) if take else []
    return _Newest(
        setting=setting,
        tape_mm={str(tape["hole"]): float(tape["covered_mm"] or 0.0) for tape in tapes},
        take=take,
        pitches=tuple(row for row in pitches if row["note"] in NOTES),
        chanter=_first(reader, "chanter", setting, reed, take),
        player=_first(reader, "player", reed, take),
    )


def _first(reader: Reader, noun: str, *rows: Row | None) -> Row | None:
    """The chanter or player that the first of these rows names."""
    for row in rows:
        if row is not None and row.get(f"{noun}_id") is not None:
            return reader.row(f"{noun}s", number_of(row, f"{noun}_id"))
    return None


def _name(row: Row | None) -> str:
    return "not told" if row is None else str(row["name"])


def _day(moment: object) -> str:
    return str(moment)[:10]


def _chanter(row: Row | None) -> tuple[ChanterFile, str]:
    """The chanter's sizes, the invented chanter's where nobody measured it, and which of the two."""
    text = None if row is None else row["chanter_toml"]
    if text is not None:
        try:
            return parse(str(text), name="the chanter's file"), "Holes to scale, as measured."
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
        ("Seat", seat_said(float(setting["seat_mm"] or 0.0))),
        ("Tape", f"{strips} {'strip' if strips == 1 else 'strips'}, as drawn" if strips else "none"),
    )
    return f"Setting, {_day(setting['at'])}", words


def _balance_group(newest: _Newest) -> tuple[str, Words]:
    take = newest.take
    if take is None:
        return "Balance", (("Take", "none yet: height, tilt and what is left are not known"),)
    title = f"Balance, {_day(take['at'])}"
    try:
        report = kept_report(take, newest.pitches)
    except InputError:
        return title, (("Take", f"its scale {take['scale']} is not among ours: not known"),)
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


def _reed_words(story: dict[str, Any]) -> Words:
    minutes, spells = story["minutes"], story["spells"]
    played = f"{number(minutes, 0)} minutes in {spells} {'spell' if spells == 1 else 'spells'}"
    return (
        ("Strength", _strength(story["strengths"])),
        ("Pinches", story["eases_said"].rstrip(".").replace("Never pinched", "none")),
        ("Played", played if spells else "not yet"),
    )


def _strength(readings: list[Row]) -> str:
    """The newest playing pressure, else the newest comparison by mouth, else that there is none."""
    for row in reversed(readings):
        kpa = row["playing_kpa"]
        if kpa is not None:
            sd = row["playing_sd_kpa"]
            value, sd_kpa = float(kpa), None if sd is None else float(sd)
            in_inches = Uncertain(
                value=kpa_to_inh2o(value), sd=None if sd_kpa is None else kpa_to_inh2o(sd_kpa)
            )
            both = f"{Uncertain(value=value, sd=sd_kpa).text('kPa')} = {in_inches.text('inH2O')}"
            return f"plays at {both}, {_day(row['at'])}"
    for row in reversed(readings):
        if row["by_mouth"] is not None:
            return f"by mouth only: {row['by_mouth']}, {_day(row['at'])}"
    return "playing pressure not measured yet"


def _history(story: dict[str, Any]) -> str:
    """One line: when it came, how many takes, what was done last."""
    acts, takes = story["acts"], len(story["takes"])
    parts = [f"{takes} {'take' if takes == 1 else 'takes'}" if takes else "no take yet"]
    if acts:
        parts = [f"Taken in {_day(acts[0].at)}", *parts, f"last: {acts[-1].said}, {_day(acts[-1].at)}"]
    return "; ".join(parts) + "."
