"""Fit a reed: one round with the takes of a reed in a chanter as the ledger keeps them; they are the fitting.

A fitting's file is the same in writing: it comes in where it goes on from what is kept, and goes out again.
Guarded by `tests/doors/test_fit_command.py` and `tests/doors/test_one_fitting.py`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from canebench.base.errors import InputError
from canebench.base.notes import LOW_A, NOTES
from canebench.base.scales import scale_named
from canebench.base.setting import Setting
from canebench.base.uncertain import number
from canebench.bench.acts.band import defaults_of
from canebench.bench.acts.fitting.fitting import Fitting, FittingTake
from canebench.bench.acts.fitting.fitting_file import load_fitting, save_fitting
from canebench.bench.acts.fitting.may_fit import may_fit
from canebench.bench.acts.fitting.one_round import Fitted, one_round, plan_within_bounds, planned_from
from canebench.bench.acts.fitting.read_takes import NO_TAKE, check_newest, newest_take
from canebench.bench.acts.ledger import named, reed_numbered
from canebench.bench.acts.reeds.eased import check_pinch, pinches_in_life, write_pinch
from canebench.bench.acts.reeds.mouths import owner_of
from canebench.bore.chanter_file import generic, parse
from canebench.fitting.take import Take
from canebench.sound.files.decode import read_recording
from canebench.sound.files.encode import write_recording
from canebench.store.recordings import keep_recording
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
    from collections.abc import Sequence

    from canebench.bench.acts.fitting.fit_request import FitRequest
    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.bore.chanter_file import ChanterFile
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader
    from canebench.store.tables import Value
    from canebench.store.writer import Writer

#: How well a note of a kept take is taken to repeat, cents, where that was not kept: an estimate of ours.
_UNTOLD_SD_CENTS: Final = 1.0


#: A pinch just before a take; `insisted` where it was one past the most, and known to be.
Pinch = Literal["told", "insisted"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Which reed in which chanter, and who blows it, by number and names.

    `read_take` is the newest take there that was known when its next setting was told (`NO_TAKE`: none);
    where another is newest by then, it is refused. None for what nobody read. `pinch` was done just before
    the take, and is kept in the same act.
    """

    reed: str
    chanter: str
    player: str | None = None
    read_take: int | None = None
    pinch: Pinch | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    reed: ReedRecord
    chanter: ChanterRecord
    player: PlayerRecord | None
    newest: int = NO_TAKE


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """What a fitting does not know of a take: what was insisted on, columns of it and of its pitches."""

    insisted: str = ""
    pinch: Pinch | None = None
    take: Mapping[str, Value] = field(default_factory=dict)
    notes: Mapping[str, Mapping[str, Value]] = field(default_factory=dict)


def fit_reed(
    ledger: Ledger,
    request: FitRequest,
    *,
    place: Place,
    who: str,
    takes_folder: Path | None = None,
    from_file: Path | None = None,
    to_file: Path | None = None,
    insist: bool = False,
) -> Fitted:
    """Measure the request's take, keep it, and plan from all takes of this reed in this chanter.

    A recording is kept as FLAC in `takes_folder`, named by its SHA-256, if one is given. Readings that look
    like a slip are a `DoubtError`, but `AsTyped`. What stands against blowing this reed (`may_fit`) is an
    error, unless with `insist`. The fitting in `from_file` comes first: what it has beyond the ledger's takes
    is kept too, and pinches that the ledger does not know. `to_file` is where the fitting is written, with
    its plan.
    """
    with ledger.reading() as reader:
        rows = _Rows(
            reed=reed_numbered(reader, place.reed),
            chanter=named(reader, ChanterRecord, place.chanter),
            player=None if place.player is None else named(reader, PlayerRecord, place.player),
        )
        rows = replace(rows, newest=newest_take(reader, rows.reed, rows.chanter))
        if place.read_take is not None:
            check_newest(reader, rows.reed, rows.chanter, place.read_take)
        kept = fitting_of_rows(reader, rows.reed.id, rows.chanter)
        player = place.player or owner_of(reader, rows.reed)
        note = ""
        if request.heard is not None:
            # Nobody takes the reed into the mouth where no take is told.
            begins = not kept.takes
            note = may_fit(reader, rows.reed, player, ledger.clock(), begins=begins, insist=insist)
        if place.pinch is not None:
            note += ", pinched" + check_pinch(reader, rows.reed.id, insist=place.pinch == "insisted")
    if to_file is not None and to_file.exists():
        # Only a fitting is written over.
        load_fitting(to_file)
    begun = kept if from_file is None else _going_on(kept, load_fitting(from_file), rows)
    one = one_round(begun, request)
    if one.refusal is not None:
        return one
    new = one.fitting.takes[len(kept.takes) :]
    changed = bool(new) or one.fitting.chanter.text != kept.chanter.text
    plan = planned_from(one.fitting, one.report) if changed else plan_within_bounds(one.fitting)
    one = replace(one, plan=plan, fitting=one.fitting if plan is None else plan.fitting)
    if not changed:
        _write_out(one.fitting, to_file)
        return one
    ledger.begin_to_keep()
    recording, told = None, _Told()
    if isinstance(request.heard, Path) and takes_folder is not None:
        recording = _keep_recording(request.heard, takes_folder)
    if one.report is not None:
        told = replace(_told(one.report, rows, request, recording), insisted=note, pinch=place.pinch)
    return replace(one, take_id=_keep(ledger, one, new, rows, who=who, told=told, to_file=to_file))


def fitting_of_rows(reader: Reader, reed_id: int | None, chanter: ChanterRecord) -> Fitting:
    """The fitting that the ledger keeps of a reed in a chanter; without a reed, one that has no takes.

    It goes on with the scale and the reference of its newest take; a new one begins with what is settled.
    """
    where = {"reed_id": reed_id, "chanter_id": chanter.id}
    rows = [] if reed_id is None else reader.rows(TakeRecord, where, order="at")
    takes = [_take(reader, row) for row in rows]
    fitting = Fitting(
        chanter=sizes_of(chanter),
        takes=tuple(one for one in takes if one is not None),
        pinched=0 if reed_id is None else pinches_in_life(reader, reed_id),
    )
    if not rows:
        band = defaults_of(reader)
        return replace(fitting, scale=band.scale, reference_hz=band.low_a_hz)
    fixed_hz = rows[-1].reference_hz if rows[-1].reference == "fixed" else None
    return replace(fitting, scale=scale_named(rows[-1].scale), reference_hz=fixed_hz)


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
            warm_min=row.warm_min,
            room_degc=row.room_degc,
        ),
    )


def _going_on(kept: Fitting, given: Fitting, rows: _Rows) -> Fitting:
    """A fitting from a file, where it is of this chanter and goes on from what the ledger keeps."""
    pairs = zip(kept.takes, given.takes, strict=False)
    if rows.chanter.chanter_toml not in (None, given.chanter.text):
        other = "sizes of the chanter"
    elif len(given.takes) < len(kept.takes) or not all(_same(a.take, b.take) for a, b in pairs):
        other = "takes"
    else:
        return replace(given, pinched=max(kept.pinched, given.present.pinches))
    raise InputError(
        field="fitting",
        given=f"one with other {other}",
        allowed=f"one that goes on from what the ledger keeps of {rows.chanter.name} can come in",
        nearest="another chanter's name",
    )


def _same(one: Take, other: Take) -> bool:
    pairs = ((one.hz, other.hz), (one.sd_cents, other.sd_cents))
    return one.setting == other.setting and all(np.array_equal(a, b, equal_nan=True) for a, b in pairs)


def _keep(
    ledger: Ledger,
    one: Fitted,
    new: Sequence[FittingTake],
    rows: _Rows,
    *,
    who: str,
    told: _Told,
    to_file: Path | None,
) -> int | None:
    """Keep the takes that are new, those of a file before the one that was measured; the last one's id.

    Nothing is kept where the file cannot be written.
    """
    done = "brought in the fitting of" if one.report is None else "measured"
    said = f"{done} reed {rows.reed.number} in {rows.chanter.name}{told.insisted}{_tilt_said(one.report)}"
    take_id = None
    with ledger.act("fit", who=who, said=said) as act:
        check_newest(act, rows.reed, rows.chanter, rows.newest)
        if rows.chanter.chanter_toml is None and one.fitting.chanter.text != generic().text:
            act.update(rows.chanter, {"chanter_toml": one.fitting.chanter.text})
        brought = new if one.report is None else new[:-1]
        for take in brought:
            take_id = _keep_take(act, one.fitting, take, rows, _Told())
        _keep_pinches(act, brought, rows.reed, "told by a fitting that came in")
        if told.pinch is None:
            _keep_pinches(act, new[len(brought) :], rows.reed, "told with a take")
        else:
            write_pinch(act, rows.reed.id, insist=told.pinch == "insisted")
        for take in new[len(brought) :]:
            take_id = _keep_take(act, one.fitting, take, rows, told)
        _write_out(one.fitting, to_file)
    return take_id


def _tilt_said(report: TakeReport | None) -> str:
    """The tilt of a take that heard both As, cents; for the story."""
    balance = None if report is None else report.balance
    return "" if balance is None else f": tilt {number(balance.tilt_cents.value, 1, signed=True)} cents"


def _write_out(fitting: Fitting, to_file: Path | None) -> None:
    """The fitting as a file, if one is asked for; it is told what is left of the reed's life."""
    if to_file is not None:
        save_fitting(fitting.within_a_life(), to_file)


def _keep_pinches(act: Writer, new: Sequence[FittingTake], reed: ReedRecord, remarks: str) -> None:
    """Pinches that takes tell of and the ledger does not know: they count for the reed's whole life."""
    told = max((one.take.setting.pinches for one in new), default=0)
    for _ in range(told - pinches_in_life(act, reed.id)):
        # They were done: no rule can refuse them any more.
        write_pinch(act, reed.id, insist=True, remarks=remarks)


def _keep_take(act: Writer, fitting: Fitting, one: FittingTake, rows: _Rows, told: _Told) -> int:
    """The take with its setting, tape and pitches as rows; the take's id."""
    take, setting = one.take, one.take.setting
    where: dict[str, Value] = {"reed_id": rows.reed.id, "chanter_id": rows.chanter.id, "at": act.at}
    setting_id = act.insert("settings", {**where, "seat_mm": setting.seat_mm, "pinches": setting.pinches})
    for hole, covered in setting.tape_mm.items():
        act.insert("tapes", {"setting_id": setting_id, "hole": hole, "covered_mm": covered})
    low_a_hz = _finite(take.hz[NOTES.index(LOW_A)]) if fitting.reference_hz is None else fitting.reference_hz
    usual: dict[str, Value] = {
        "setting_id": setting_id,
        "origin": one.origin,
        "source": "typed" if one.origin == "typed" else "recording",
        "scale": fitting.scale.name,
        "reference": "low-a" if fitting.reference_hz is None else "fixed",
        "reference_hz": low_a_hz,
        "warm_min": take.warm_min,
        "room_degc": take.room_degc,
    }
    take_id = act.insert("takes", {**where, **usual, **told.take})
    for note, hz, sd in zip(NOTES, take.hz, take.sd_cents, strict=True):
        if math.isfinite(hz):
            pitch: dict[str, Value] = {"hz": float(hz), "repeat_sd_cents": _finite(sd)}
            act.insert("pitches", {"take_id": take_id, "note": note, **pitch, **told.notes.get(note, {})})
    return take_id


def _told(report: TakeReport, rows: _Rows, request: FitRequest, recording: str | None) -> _Told:
    """What the ledger keeps of a measured take that no plan needs."""
    measurement, reference, heard = report.measurement, report.measurement.reference, request.heard
    if reference is None:
        raise ValueError("a take that was not refused has a reference")
    notes: dict[str, dict[str, Value]] = {
        one.note: {"sd_hz": _finite(one.sd_hz)} for one in measurement.notes
    }
    if isinstance(heard, Mapping):
        for note, one in heard.items():
            notes[note] |= {"typed_value": one.value, "typed_unit": one.unit}
    take: dict[str, Value] = {
        "player_id": None if rows.player is None else rows.player.id,
        "source": "typed" if isinstance(heard, Mapping) else "recording",
        "recording_sha256": recording,
        "duration_s": measurement.duration_s,
        "reference": reference.kind,
        "reference_hz": reference.hz,
        "reference_sd_hz": _finite(reference.sd_hz),
        "room_rh": request.room_rh,
    }
    return _Told(take=take, notes=notes)


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _keep_recording(path: Path, folder: Path) -> str:
    """The decoded recording as FLAC in the folder; its SHA-256, by which it is named."""
    recording = read_recording(path)
    return keep_recording(folder, lambda beside: write_recording(recording, beside))
