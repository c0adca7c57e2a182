"""A fitting in writing: one JSON object that holds all it takes to plan again.

The file that `plan` and `measure` keep, and the way of a ledger's fitting out and in. Written whole or not
at all: into a new file beside it, flushed to the disk, then put in its place. The schema is
`docs/fitting.schema.json`.
Guarded by `tests/faults/test_fitting_file.py` and `tests/doors/test_one_fitting.py`.
"""

from __future__ import annotations

import json
import math
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any, Final, TypeVar

import numpy as np

from canebench.base.errors import InputError, NotFoundError
from canebench.base.notes import NOTES
from canebench.base.scales import scale_named
from canebench.base.setting import Setting
from canebench.base.sizes import Range, is_finite, said
from canebench.base.whole_file import write_whole, written_with
from canebench.bench.acts.fitting.fitting import Fitting, FittingTake
from canebench.bore.chanter_file import parse
from canebench.fitting.hemp import Hemp
from canebench.fitting.limits import Limits, check_seat
from canebench.fitting.take import Take

if TYPE_CHECKING:
    from contextlib import AbstractContextManager
    from pathlib import Path

    from canebench.base.arrays import FloatArray

SCHEMA: Final = "canebench.fitting/1"
_FIELD: Final = "fitting file"
_MOST_BYTES: Final = 5_000_000
_MOST_TAKES: Final = 500
_LONGEST_TEXT: Final = 1000
#: Beyond this a whole number is no size of anything here, and no float may hold it.
_ENDLESS: Final = 1e12
#: What a chanter's note can be, and how badly it can repeat.
_HZ: Final = Range(low=200.0, high=2000.0, usual=600.0, unit="Hz", slips=())
_SD: Final = Range(low=0.0, high=1200.0, usual=1.0, unit="cents", slips=())

Json = dict[str, Any]
Kind = TypeVar("Kind", Limits, Hemp)


def save_fitting(fitting: Fitting, path: Path) -> None:
    """Write the fitting."""
    text = json.dumps(fitting_object(fitting), indent=2, allow_nan=False) + "\n"
    write_whole(path, text.encode(), field=_FIELD)


def saved_with(fitting: Fitting, path: Path | None) -> AbstractContextManager[None]:
    """The fitting as a file, if one is asked for, when the block has done what it does."""
    text = "" if path is None else json.dumps(fitting_object(fitting), indent=2, allow_nan=False) + "\n"
    return written_with(path, text.encode(), field=_FIELD)


def load_fitting(path: Path) -> Fitting:
    """Read one."""
    if not path.is_file():
        raise NotFoundError(
            f"{path}: no such fitting. A plan of a take begins one: canebench plan TAKE --fitting"
        )
    if path.stat().st_size > _MOST_BYTES:
        raise _amiss(str(path), f"{path.stat().st_size} bytes", f"at most {_MOST_BYTES} are read")
    try:
        found = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise _amiss(str(path), error.strerror or "unreadable", "a readable file is needed") from error
    # A ValueError too where a whole number has thousands of digits.
    except (ValueError, RecursionError) as error:
        raise _amiss(str(path), f"no JSON ({error})"[:120], "a fitting file is needed") from error
    return _read(str(path), found)


def fitting_object(fitting: Fitting) -> Json:
    """The fitting as JSON values; a note that was not played is null."""
    return {
        "schema": SCHEMA,
        "chanter_toml": fitting.chanter.text,
        "scale": fitting.scale.name,
        "reference_hz": fitting.reference_hz,
        "limits": asdict(fitting.limits),
        "hemp": asdict(fitting.hemp),
        "takes": [_take_object(one) for one in fitting.takes],
        "planned": [setting_object(setting) for setting in fitting.planned or ()],
    }


def setting_object(setting: Setting) -> Json:
    """A setting as JSON values."""
    return {"seat_mm": setting.seat_mm, "tape_mm": dict(setting.tape_mm), "pinches": setting.pinches}


def _take_object(one: FittingTake) -> Json:
    return {
        "origin": one.origin,
        "setting": setting_object(one.take.setting),
        "hz": {note: _figure(value) for note, value in zip(NOTES, one.take.hz, strict=True)},
        "sd_cents": {note: _figure(value) for note, value in zip(NOTES, one.take.sd_cents, strict=True)},
        "warm_min": one.take.warm_min,
        "room_degc": one.take.room_degc,
    }


def _figure(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _read(where: str, found: object) -> Fitting:
    table = _object(where, found)
    if table.get("schema") != SCHEMA:
        raise _amiss(f"{where}: schema", said(table.get("schema")), f'"{SCHEMA}" is read')
    takes, planned = (_list(where, table, key) for key in ("takes", "planned"))
    fitting = Fitting(
        chanter=parse(_text(where, table, "chanter_toml", most=_MOST_BYTES), name=f"{where}: chanter"),
        scale=scale_named(_text(where, table, "scale")),
        reference_hz=_number_or_none(where, table, "reference_hz"),
        limits=_record(where, table, "limits", Limits),
        hemp=_record(where, table, "hemp", Hemp),
        takes=tuple(_take(f"{where}: take {i + 1}", take) for i, take in enumerate(takes)),
        planned=tuple(_setting(f"{where}: planned {i + 1}", one) for i, one in enumerate(planned)),
    )
    told = [(f"take {i + 1}", one.take.setting) for i, one in enumerate(fitting.takes)]
    told += [(f"planned {i + 1}", one) for i, one in enumerate(fitting.planned or ())]
    for whose, setting in told:
        check_seat(setting.seat_mm, deepest_mm=fitting.deepest_mm, field=f"{where}: {whose}: seat_mm")
    return fitting


def _take(where: str, found: object) -> FittingTake:
    table = _object(where, found)
    take = Take(
        setting=_setting(where, table.get("setting")),
        hz=_by_note(where, table, "hz", _HZ, absent=math.nan),
        sd_cents=_by_note(where, table, "sd_cents", _SD, absent=math.inf),
        # Files from before these were kept have none.
        warm_min=_number_or_none(where, table, "warm_min"),
        room_degc=_number_or_none(where, table, "room_degc"),
    )
    for note, hz, sd in zip(NOTES, take.hz, take.sd_cents, strict=True):
        if math.isfinite(hz) and not math.isfinite(sd):
            raise _amiss(f"{where}: sd_cents: {note}", "nothing", "each pitch needs its uncertainty")
    # What no encoding can write must not come back as a failure when it is shown.
    origin = _text(where, table, "origin").encode(errors="replace").decode()
    return FittingTake(origin=origin, take=take)


def _setting(where: str, found: object) -> Setting:
    table = _object(where, found)
    tape = _object(f"{where}: tape_mm", table.get("tape_mm"))
    pinches = _number(where, table, "pinches")
    if pinches != int(pinches):
        raise _amiss(f"{where}: pinches", said(pinches), "a whole number is needed")
    return Setting(
        seat_mm=_number(where, table, "seat_mm"),
        tape_mm={hole: _number(f"{where}: tape_mm", tape, hole) for hole in tape},
        pinches=int(pinches),
    )


def _by_note(where: str, table: Json, key: str, allowed: Range, *, absent: float) -> FloatArray:
    values = _object(f"{where}: {key}", table.get(key))
    found = [_number_or_none(f"{where}: {key}", values, note) for note in NOTES]
    for note, value in zip(NOTES, found, strict=True):
        if value is not None:
            allowed.check(f"{where}: {key}: {note}", value)
    return np.array([absent if value is None else value for value in found])


def _record(where: str, table: Json, key: str, kind: type[Kind]) -> Kind:
    given = _object(f"{where}: {key}", table.get(key, {}))
    usual = {field.name: field.default for field in fields(kind)}
    for name in given:
        if name not in usual:
            raise _amiss(f"{where}: {key}", said(name), f"known are {', '.join(sorted(usual))}")
        # Only what is absent by itself may be null.
        (_number_or_none if usual[name] is None else _number)(f"{where}: {key}", given, name)
    return kind(**given)


def _object(where: str, found: object) -> Json:
    if not isinstance(found, dict):
        raise _amiss(where, said(found), "a JSON object is needed")
    return found


def _list(where: str, table: Json, key: str) -> list[object]:
    found = table.get(key)
    if not isinstance(found, list) or len(found) > _MOST_TAKES:
        raise _amiss(f"{where}: {key}", said(found), f"a list of at most {_MOST_TAKES} is needed")
    return found


def _text(where: str, table: Json, key: str, *, most: int = _LONGEST_TEXT) -> str:
    found = table.get(key)
    if not isinstance(found, str) or len(found) > most:
        raise _amiss(f"{where}: {key}", said(found), f"a text of at most {most} characters is needed")
    return found


def _number_or_none(where: str, table: Json, key: str) -> float | None:
    return None if table.get(key) is None else _number(where, table, key)


def _number(where: str, table: Json, key: str) -> float:
    value = table.get(key)
    if not is_finite(value) or abs(value) > _ENDLESS:
        raise _amiss(f"{where}: {key}", said(value), "a number is needed")
    return float(value)


def _amiss(field: str, given: str, allowed: str) -> InputError:
    return InputError(field=field, given=given, allowed=allowed)
