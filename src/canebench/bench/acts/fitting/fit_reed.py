"""Fit a reed: measure a take, keep it with its setting, compare with what was predicted, and plan on.

The takes of a reed in a chanter, as the ledger keeps them, are the fitting. Guarded by
`tests/doors/test_fit_command.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.after_act import AfterAct, after_act
from canebench.bench.acts.fitting.fitting import Fitting, FittingTake, take_of
from canebench.bench.acts.fitting.measure_take import measure_take
from canebench.bench.acts.fitting.plan_setting import Plan, plan_setting
from canebench.bench.acts.fitting.report import report_on
from canebench.bench.acts.fitting.type_take import Typed, typed_take
from canebench.bench.acts.ledger import named, reed_numbered
from canebench.bench.acts.reeds.eased import pinches_in_life
from canebench.bench.acts.reeds.mouths import insisted_on, owner_of
from canebench.bore.chanter_file import generic, parse
from canebench.fitting.balance import POSTS
from canebench.fitting.take import Take
from canebench.reeds import eases
from canebench.sound.files.decode import read_recording
from canebench.sound.files.encode import write_recording
from canebench.store.records import (
    ChanterRecord,
    PitchRecord,
    PlayerRecord,
    ReedRecord,
    SettingRecord,
    TakeRecord,
    TapeRecord,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.base.scales import Scale
    from canebench.bench.acts.fitting.plan_take import PlanMade
    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.bore.chanter_file import ChanterFile
    from canebench.fitting.limits import Limits
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader
    from canebench.store.tables import Value
    from canebench.store.writer import Writer

#: How well a note of a kept take is taken to repeat, cents, where that was not kept: an estimate of ours.
_UNTOLD_SD_CENTS: Final = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Which reed in which chanter, and who blows it, by number and names."""

    reed: str
    chanter: str
    player: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    reed: ReedRecord
    chanter: ChanterRecord
    player: PlayerRecord | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What a fitting aims at: scale, a fixed low A or None for drones that follow, limits, conditions."""

    scale: Scale = DEFAULT_SCALE
    reference_hz: float | None = None
    limits: Limits | None = None
    room_degc: float | None = None
    room_rh: float | None = None
    warm_min: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """One round: the take, what the act before it did (None for a first take), and the plan from here.

    `plan` is None where the take was refused or lacks low A or high A; nothing is then kept of a refused one.
    """

    report: TakeReport
    after: AfterAct | None
    plan: Plan | None
    take_id: int | None


def fit_reed(
    ledger: Ledger,
    heard: Path | Mapping[str, Typed],
    *,
    place: Place,
    who: str,
    done: PlanMade,
    wish: Wish,
    takes_folder: Path | None = None,
    insist: bool = False,
) -> Fitted:
    """Measure a take, keep it, and plan from all takes of this reed in this chanter.

    `heard` is a sound file, or readings typed from a meter. A recording is kept as FLAC in `takes_folder`,
    named by its SHA-256, if one is given. Readings that look like a slip are a `DoubtError`, but `AsTyped`.
    A player who is to have a reed that rests from another's mouth is refused, unless with `insist`.
    """
    with ledger.reading() as reader:
        rows = _Rows(
            reed=reed_numbered(reader, place.reed),
            chanter=named(reader, ChanterRecord, place.chanter),
            player=None if place.player is None else named(reader, PlayerRecord, place.player),
        )
        fitting = fitting_of_rows(reader, rows.reed.id, rows.chanter, wish)
        player = place.player or owner_of(reader, rows.reed)
        note = insisted_on(reader, rows.reed, player, ledger.clock(), insist=insist)
    if isinstance(heard, Path):
        report = measure_take(heard, scale=wish.scale, reference=wish.reference_hz or "auto")
    else:
        report = report_on(typed_take(heard, scale=wish.scale, reference_hz=wish.reference_hz))
    if report.measurement.refused:
        return Fitted(report=report, after=None, plan=None, take_id=None)
    earlier = planned_from(fitting)
    planned = [] if earlier is None else [step.setting for step in earlier.steps]
    setting = done.setting(fitting.present, planned, deepest_mm=fitting.deepest_mm)
    take = take_of(report.measurement, setting)
    after = after_act(fitting, take) if fitting.takes else None
    fitting = after.fitting if after is not None else replace(fitting, takes=(take,))
    kept = None
    if isinstance(heard, Path) and takes_folder is not None:
        kept = _keep_recording(heard, takes_folder)
    with ledger.act("fit", who=who, said=f"measured reed {place.reed} in {place.chanter}{note}") as act:
        take_id = _keep_take(act, report, take, rows, wish, kept)
        if not isinstance(heard, Path):
            _keep_typed(act, take_id, heard)
    return Fitted(report=report, after=after, plan=planned_from(fitting, report), take_id=take_id)


def planned_from(fitting: Fitting, report: TakeReport | None = None) -> Plan | None:
    """The plan from a fitting's last take; None where there is none, or it lacks low A or high A."""
    if not fitting.takes:
        return None
    posts = fitting.takes[-1].take.hz[[NOTES.index(note) for note in POSTS]]
    return plan_setting(fitting.below_the_top(), report=report) if np.isfinite(posts).all() else None


def fitting_of_rows(reader: Reader, reed_id: int | None, chanter: ChanterRecord, wish: Wish) -> Fitting:
    """The fitting that the ledger keeps of a reed in a chanter; without a reed, one that has no takes."""
    where = {"reed_id": reed_id, "chanter_id": chanter.id}
    rows = [] if reed_id is None else reader.rows(TakeRecord, where, order="at")
    takes = [_take(reader, row) for row in rows]
    fitting = Fitting(
        chanter=sizes_of(chanter),
        scale=wish.scale,
        reference_hz=wish.reference_hz,
        takes=tuple(one for one in takes if one is not None),
    )
    if wish.limits is None:
        return fitting
    # However many are asked for: no plan has a pinch past the most in a reed's life.
    pinches = 0 if reed_id is None else pinches_in_life(reader, reed_id)
    left = min(wish.limits.pinches_left, eases.left(pinches))
    return replace(fitting, limits=replace(wish.limits, pinches_left=left))


def sizes_of(chanter: ChanterRecord) -> ChanterFile:
    """The sizes of a chanter; those of an invented one where nobody measured it."""
    return generic() if chanter.chanter_toml is None else parse(chanter.chanter_toml, name=chanter.name)


def _take(reader: Reader, row: TakeRecord) -> FittingTake | None:
    """A kept take as the fitting needs it; None for one without a setting."""
    if row.setting_id is None:
        return None
    hz, sd = np.full(len(NOTES), math.nan), np.full(len(NOTES), math.inf)
    for pitch in reader.rows(PitchRecord, {"take_id": row.id}):
        index = NOTES.index(pitch.note)
        hz[index] = pitch.hz
        # A note that repeats to 0 cents would outweigh all others: such a one was not told either.
        sd[index] = pitch.repeat_sd_cents or _UNTOLD_SD_CENTS
    if not np.isfinite(hz).any():
        return None
    setting = reader.row(SettingRecord, row.setting_id)
    tapes = reader.rows(TapeRecord, {"setting_id": setting.id})
    return FittingTake(
        origin=row.origin,
        take=Take(
            setting=Setting(
                seat_mm=setting.seat_mm,
                tape_mm={tape.hole: tape.covered_mm for tape in tapes},
                # Pinches are counted; what nobody wrote down was none.
                pinches=0 if setting.pinches is None else setting.pinches,
            ),
            hz=hz,
            sd_cents=sd,
        ),
    )


def _keep_take(
    act: Writer,
    report: TakeReport,
    take: FittingTake,
    rows: _Rows,
    wish: Wish,
    recording: str | None,
) -> int:
    """The take with its setting, tape and pitches as rows; the take's id."""
    setting = take.take.setting
    where: dict[str, Value] = {
        "reed_id": rows.reed.id,
        "chanter_id": rows.chanter.id,
        "at": act.at,
    }
    setting_id = act.insert("settings", {**where, "seat_mm": setting.seat_mm, "pinches": setting.pinches})
    for hole, covered in setting.tape_mm.items():
        act.insert("tapes", {"setting_id": setting_id, "hole": hole, "covered_mm": covered})
    measurement = report.measurement
    reference = measurement.reference
    if reference is None:
        raise ValueError("a take that was not refused has a reference")
    take_id = act.insert(
        "takes",
        {
            **where,
            "player_id": None if rows.player is None else rows.player.id,
            "setting_id": setting_id,
            "origin": measurement.origin,
            "source": "recording" if measurement.duration_s > 0 else "typed",
            "recording_sha256": recording,
            "duration_s": measurement.duration_s,
            "scale": wish.scale.name,
            "reference": reference.kind,
            "reference_hz": reference.hz,
            "reference_sd_hz": reference.sd_hz if math.isfinite(reference.sd_hz) else None,
            "room_degc": wish.room_degc,
            "room_rh": wish.room_rh,
            "warm_min": wish.warm_min,
        },
    )
    for note in measurement.notes:
        repeat = float(take.take.sd_cents[NOTES.index(note.note)])
        act.insert(
            "pitches",
            {
                "take_id": take_id,
                "note": note.note,
                "hz": note.hz,
                "sd_hz": note.sd_hz if math.isfinite(note.sd_hz) else None,
                "repeat_sd_cents": repeat if math.isfinite(repeat) else None,
            },
        )
    return take_id


def _keep_typed(act: Writer, take_id: int, readings: Mapping[str, Typed]) -> None:
    """What was typed, beside the hertz that it comes to."""
    for pitch in act.rows(PitchRecord, {"take_id": take_id}):
        one = readings[pitch.note]
        act.update(pitch, {"typed_value": one.value, "typed_unit": one.unit})


def _keep_recording(path: Path, folder: Path) -> str:
    """The decoded recording as FLAC in the folder, named by its SHA-256; an equal one is kept once."""
    folder.mkdir(parents=True, exist_ok=True)
    beside = folder / ".incoming.flac"
    write_recording(read_recording(path), beside)
    digest = sha256(beside.read_bytes()).hexdigest()
    beside.replace(folder / f"{digest}.flac")
    return digest
