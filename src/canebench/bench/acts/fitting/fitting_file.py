"""A fitting on disk: one JSON file that holds all it takes to plan again.

Written whole or not at all: into a new file beside it, flushed to the disk, then put in its place. The schema
is `docs/fitting.schema.json`. Guarded by `tests/faults/test_fitting_file.py`.
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
from canebench.base.whole_file import write_whole
from canebench.bench.acts.fitting.fitting import Fitting, FittingTake
from canebench.bore.chanter_file import parse
from canebench.fitting.hemp import Hemp
from canebench.fitting.limits import Limits, check_seat
from canebench.fitting.take import Take

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from canebench.base.arrays import FloatArray

SCHEMA: Final = "canebench.fitting/1"
_MOST_BYTES: Final = 5_000_000
_MOST_TAKES: Final = 500
_DIGITS: Final = 9
_LONGEST_ORIGIN: Final = 1000
#: Beyond this a whole number is no size of anything here, and no float may hold it.
_ENDLESS: Final = 1e12
#: What a chanter's note can be, and how badly it can repeat.
_HZ: Final = Range(low=200.0, high=2000.0, usual=600.0, unit="Hz", slips=())
_SD: Final = Range(low=0.0, high=1200.0, usual=1.0, unit="cents", slips=())

Json = dict[str, Any]
Kind = TypeVar("Kind", Limits, Hemp)


def save_fitting(fitting: Fitting, path: Path, *, planned: Sequence[Setting]) -> None:
    """Write the fitting; `planned` are the settings after each act of the plan, the first one next."""
    text = json.dumps(fitting_object(fitting, planned=planned), indent=2, allow_nan=False) + "\n"
    write_whole(path, text.encode(), field="fitting file")


def load_fitting(path: Path) -> tuple[Fitting, tuple[Setting, ...]]:
    """A fitting and the settings that its last plan leads through."""
    if not path.is_file():
        raise NotFoundError(
            f"{path}: no such fitting. A plan of a take begins one: canebench plan TAKE --fitting"
        )
    if path.stat().st_size > _MOST_BYTES:
        raise InputError(
            field=str(path), given=f"{path.stat().st_size} bytes", allowed=f"at most {_MOST_BYTES} are read"
        )
    try:
        found = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise InputError(
            field=str(path), given=error.strerror or "unreadable", allowed="a readable file is needed"
        ) from error
    # A ValueError too where a whole number has thousands of digits.
    except (ValueError, RecursionError) as error:
        raise InputError(
            field=str(path), given=f"no JSON ({error})"[:120], allowed="a fitting file is needed"
        ) from error
    return _read(str(path), found)


def fitting_object(fitting: Fitting, *, planned: Sequence[Setting]) -> Json:
    """The fitting as JSON values; a note that was not played is null."""
    return {
        "schema": SCHEMA,
        "chanter_toml": fitting.chanter.text,
        "scale": fitting.scale.name,
        "reference_hz": fitting.reference_hz,
        "limits": asdict(fitting.limits),
        "hemp": asdict(fitting.hemp),
        "takes": [_take_object(one) for one in fitting.takes],
        "planned": [setting_object(setting) for setting in planned],
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
    }


def _figure(value: float) -> float | None:
    return round(float(value), _DIGITS) if math.isfinite(value) else None


def _read(where: str, found: object) -> tuple[Fitting, tuple[Setting, ...]]:
    table = _object(where, found)
    if table.get("schema") != SCHEMA:
        raise InputError(
            field=f"{where}: schema", given=said(table.get("schema")), allowed=f'"{SCHEMA}" is read'
        )
    text = table.get("chanter_toml")
    if not isinstance(text, str):
        raise InputError(field=f"{where}: chanter_toml", given=said(text), allowed="text is needed")
    scale = table.get("scale")
    if not isinstance(scale, str):
        raise InputError(field=f"{where}: scale", given=said(scale), allowed="a scale's name is needed")
    takes = _list(where, table, "takes")
    chanter = parse(text, name=f"{where}: chanter")
    fitting = Fitting(
        chanter=chanter,
        scale=scale_named(scale),
        reference_hz=_number(where, table, "reference_hz", optional=True),
        limits=_record(where, table, "limits", Limits),
        hemp=_record(where, table, "hemp", Hemp),
        takes=tuple(_take(f"{where}: take {i + 1}", take) for i, take in enumerate(takes)),
    )
    planned = [
        _setting(f"{where}: planned {i + 1}", one) for i, one in enumerate(_list(where, table, "planned"))
    ]
    told = [(f"take {i + 1}", one.take.setting) for i, one in enumerate(fitting.takes)]
    for whose, setting in told + [(f"planned {i + 1}", one) for i, one in enumerate(planned)]:
        field = f"{where}: {whose}: seat_mm"
        check_seat(setting.seat_mm, deepest_mm=chanter.chanter.seat.gap_mm, field=field)
    return fitting, tuple(planned)


def _take(where: str, found: object) -> FittingTake:
    table = _object(where, found)
    take = Take(
        setting=_setting(where, table.get("setting")),
        hz=_by_note(where, table, "hz", _HZ, absent=math.nan),
        sd_cents=_by_note(where, table, "sd_cents", _SD, absent=math.inf),
    )
    vague = [note for note, sd in zip(NOTES, take.sd_cents, strict=True) if not math.isfinite(sd)]
    unsure = [note for note in vague if math.isfinite(take.hz[NOTES.index(note)])]
    if unsure:
        raise InputError(
            field=f"{where}: sd_cents: {unsure[0]}",
            given="nothing",
            allowed="each pitch needs its uncertainty",
        )
    origin = table.get("origin")
    if not isinstance(origin, str) or len(origin) > _LONGEST_ORIGIN:
        allowed = f"a text of at most {_LONGEST_ORIGIN} characters is needed"
        raise InputError(field=f"{where}: origin", given=said(origin), allowed=allowed)
    # What no encoding can write must not come back as a failure when it is shown.
    return FittingTake(origin=origin.encode(errors="replace").decode(), take=take)


def _setting(where: str, found: object) -> Setting:
    table = _object(where, found)
    tape = _object(f"{where}: tape_mm", table.get("tape_mm"))
    pinches = _needed(where, table, "pinches")
    if pinches != int(pinches):
        raise InputError(field=f"{where}: pinches", given=said(pinches), allowed="a whole number is needed")
    return Setting(
        seat_mm=_needed(where, table, "seat_mm"),
        tape_mm={hole: _needed(f"{where}: tape_mm", tape, hole) for hole in tape},
        pinches=int(pinches),
    )


def _by_note(where: str, table: Json, key: str, allowed: Range, *, absent: float) -> FloatArray:
    values = _object(f"{where}: {key}", table.get(key))
    found = [_number(f"{where}: {key}", values, note, optional=True) for note in NOTES]
    for note, value in zip(NOTES, found, strict=True):
        if value is not None:
            allowed.check(f"{where}: {key}: {note}", value)
    return np.array([absent if value is None else value for value in found])


def _record(where: str, table: Json, key: str, kind: type[Kind]) -> Kind:
    given = _object(f"{where}: {key}", table.get(key, {}))
    usual = {field.name: field.default for field in fields(kind)}
    unknown = [name for name in given if name not in usual]
    if unknown:
        raise InputError(
            field=f"{where}: {key}", given=said(unknown[0]), allowed=f"known are {', '.join(sorted(usual))}"
        )
    for name in given:
        # Only what is absent by itself may be null.
        _number(f"{where}: {key}", given, name, optional=usual[name] is None)
    return kind(**given)


def _object(where: str, found: object) -> Json:
    if not isinstance(found, dict):
        raise InputError(field=where, given=said(found), allowed="a JSON object is needed")
    return found


def _list(where: str, table: Json, key: str) -> list[object]:
    found = table.get(key)
    if not isinstance(found, list) or len(found) > _MOST_TAKES:
        raise InputError(
            field=f"{where}: {key}",
            given=said(found),
            allowed=f"a list of at most {_MOST_TAKES} is needed",
        )
    return found


def _number(where: str, table: Json, key: str, *, optional: bool = False) -> float | None:
    value = table.get(key)
    if value is None and optional:
        return None
    if not is_finite(value) or abs(value) > _ENDLESS:
        raise InputError(field=f"{where}: {key}", given=said(value), allowed="a number is needed")
    return float(value)


def _needed(where: str, table: Json, key: str) -> float:
    value = _number(where, table, key)
    return 0.0 if value is None else value
