"""What the base holds at its edges: bounds that are included, digits, of slips what is said, modes."""

from __future__ import annotations

import math
import os
import time
from typing import TYPE_CHECKING, Any

import pytest

from canebench.base.clock.local_time import zone_named
from canebench.base.disk import in_the_making
from canebench.base.disk.in_the_making import is_left
from canebench.base.disk.owner_only import is_wider
from canebench.base.errors import CanebenchError, DecodeError, InputError, NotFoundError, UnknownNameError
from canebench.base.finding import Finding
from canebench.base.notes import NOTES
from canebench.base.pressure import PressureUnit, parse_pressure, pressure_in, pressure_said
from canebench.base.scales import DEFAULT_SCALE, Scale, published_scales
from canebench.base.setting import Setting
from canebench.base.sizes import Range, said
from canebench.base.uncertain import SD_TO_90, Uncertain, digits_for

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("kind", "exit_status", "http_status"),
    [
        (CanebenchError, 1, 500),
        (InputError, 4, 422),
        (DecodeError, 4, 422),
        (UnknownNameError, 4, 422),
        (NotFoundError, 5, 404),
    ],
)
def test_how_an_error_ends_a_command_and_a_page_stays(kind: type, exit_status: int, http_status: int) -> None:
    """As docs/commands.md tells of exit codes; 422 and 404 by RFC 9110, sections 15.5.21 and 15.5.5."""
    assert (kind.exit_status, kind.http_status) == (exit_status, http_status)  # type: ignore[attr-defined]


def test_a_remark_refuses_nothing_unless_it_says_so() -> None:
    assert not Finding(code="x", text="Said.").refuses


def test_an_unknown_zone_is_told_the_nearest_one() -> None:
    """Where none is near, one that works."""
    for given, nearest in (("America/Chicgo", "America/Chicago"), ("x" * 24, "Europe/London")):
        with pytest.raises(InputError) as told:
            zone_named(given)
        assert told.value.nearest == nearest
    with pytest.raises(InputError) as told:
        zone_named("Etc" + "x" * 99)
    assert told.value.given == repr("Etc" + "x" * 57)


def test_who_else_may_read_is_seen(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_text("")
    for mode, wider in ((0o600, False), (0o640, True), (0o604, True), (0o601, True), (0o700, False)):
        path.chmod(mode)
        assert is_wider(path) is wider


@pytest.mark.parametrize(("age_s", "left"), [(3_000.0, False), (3_700.0, True)])
def test_a_file_on_its_way_is_left_after_an_hour(tmp_path: Path, age_s: float, left: bool) -> None:
    path = tmp_path / ".part"
    path.write_text("")
    then = time.time() - age_s
    os.utime(path, (then, then))
    assert is_left(path) is left


@pytest.mark.parametrize(("age_s", "left"), [(0.0, False), (60.0, True)])
def test_a_folder_that_nobody_holds_is_left_once_it_can_have_been_locked(
    tmp_path: Path, age_s: float, left: bool
) -> None:
    """Between making and locking it lies there unlocked for a moment; one that is held is never left."""
    folder = tmp_path / ".part"
    folder.mkdir()
    then = time.time() - age_s
    os.utime(folder, (then, then))
    assert is_left(folder) is left
    with in_the_making.in_the_making(folder):
        assert not is_left(folder)


@pytest.mark.parametrize(("age_s", "left"), [(3_000.0, False), (3_700.0, True)])
def test_where_there_are_no_locks_a_folder_is_left_after_an_hour(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, age_s: float, left: bool
) -> None:
    monkeypatch.setattr(in_the_making, "_FCNTL", None)
    folder = tmp_path / ".part"
    folder.mkdir()
    then = time.time() - age_s
    os.utime(folder, (then, then))
    assert is_left(folder) is left


def test_a_pressure_is_said_with_the_digits_of_a_gauge() -> None:
    """28 inH2O are 6.974 kPa and 69.74 mbar (1 inH2O = 0.249089 kPa, NIST SP 811, appendix B.8)."""
    kpa = 28 * 0.249089
    assert pressure_in(kpa, PressureUnit.KPA) == "6.97 kPa"
    assert pressure_in(kpa, PressureUnit.MBAR) == "69.7 mbar"
    assert pressure_said(kpa) == "28.0 inH2O = 6.97 kPa"
    assert pressure_said(kpa, PressureUnit.MBAR) == "69.7 mbar = 6.97 kPa"
    assert pressure_said(kpa, PressureUnit.KPA) == "6.97 kPa = 28.0 inH2O"


def test_a_pressure_in_a_foreign_unit_is_told_in_kilopascals_where_it_can_be_one() -> None:
    """One psi is 6.895 kPa (NIST SP 811, appendix B.8). What no pipe has, and no unit, get an example."""
    with pytest.raises(InputError) as likely:
        parse_pressure("1 psi")
    assert likely.value.nearest == "6.89 kPa"
    for text in ("1000 psi", "1 cubit"):
        with pytest.raises(InputError) as told:
            parse_pressure(text)
        assert "inH2O" in str(told.value.nearest)
    with pytest.raises(InputError) as nothing:
        parse_pressure("0 psi")
    assert nothing.value.nearest == "0 kPa"


def test_a_scale_has_a_ratio_for_each_note() -> None:
    for scale in published_scales().values():
        assert tuple(scale.ratios) == NOTES


@pytest.mark.parametrize(
    ("note", "ratio", "fits"), [(0, 0.5, True), (0, 0.49, False), (8, 3.0, True), (8, 3.01, False)]
)
def test_ratios_that_are_hertz_or_cents_are_no_scale(note: int, ratio: float, *, fits: bool) -> None:
    ratios = [*DEFAULT_SCALE.ratios.values()]
    ratios[note] = ratio
    told: dict[str, Any] = {
        "name": "x",
        "title": "x",
        "source": "x",
        "ratios": dict(zip(NOTES, ratios, strict=True)),
    }
    if fits:
        assert Scale(**told).ratios[NOTES[note]] == ratio
    else:
        with pytest.raises(InputError, match=r"a ratio to low A is from 0\.5 to 3\.0"):
            Scale(**told)


@pytest.mark.parametrize("value", ["x" * 200, 10**200])
def test_a_long_thing_is_told_back_in_sixty_letters(value: object) -> None:
    assert len(said([value])) <= 64
    assert len(said("x" * 200)) == 60


def test_pinches_have_a_least_and_a_most() -> None:
    most = max(n for n in range(1_000) if _fits(n))
    assert [n for n in range(-2, most + 3) if _fits(n)] == list(range(most + 1))
    with pytest.raises(InputError, match=f"from 0 to {most} is allowed"):
        Setting(pinches=most + 1)


def _fits(pinches: int) -> bool:
    try:
        Setting(pinches=pinches)
    except InputError:
        return False
    return True


def test_a_setting_keeps_what_it_was_told_and_leaves_out_what_is_bare() -> None:
    told = {"E": 1.5, "C": 0.0}
    setting = Setting(tape_mm=told)
    told["E"] = 9.0
    assert dict(setting.tape_mm) == {"E": 1.5}
    with pytest.raises(TypeError):
        setting.tape_mm["E"] = 2.0  # type: ignore[index]


def test_an_unknown_hole_is_told_back_in_part() -> None:
    with pytest.raises(UnknownNameError) as told:
        Setting(tape_mm={"x" * 100: 1.0})
    assert told.value.given == repr("x" * 60)


def test_both_bounds_of_a_range_are_in_it() -> None:
    size = Range(low=1.0, high=10.0, usual=5.0)
    for value in (1.0, 10.0):
        size.check("size", value)
    for value in (0.99, 10.1):
        with pytest.raises(InputError, match="from 1 to 10 mm is allowed"):
            size.check("size", value)
    # A slip that leads just to a bound is one.
    assert Range(low=1.0, high=10.0, usual=5.0, slips=((0.1, "if so"),)).slip(100.0) == "10 mm, if so"
    assert Range(low=1.0, high=10.0, usual=5.0, slips=((0.1, "if so"),)).slip(1e9) == "10 mm"
    assert Range(low=1.0, high=10.0, usual=5.0, slips=()).slip(-3.0) == "1 mm"


@pytest.mark.parametrize(
    ("given", "nearest"),
    [
        (-250.0, "250 mm, without the minus sign"),
        (800.0, "80 mm, if the decimal point slipped"),
        (0.25, "250 mm, if that was metres"),
        (0.8, "20.32 mm, if that was inches"),
        (0.06, "60 mm, if that was metres"),
    ],
)
def test_of_the_slips_that_explain_a_length_the_likeliest_is_told(given: float, nearest: str) -> None:
    assert Range(low=1.0, high=700.0, usual=100.0).slip(given) == nearest


@pytest.mark.parametrize(
    ("given", "nearest"),
    [
        (0.6, "15.24 mm, if that was inches, or 6 mm, if that was centimetres"),
        (0.4, "10.16 mm, if that was inches"),
    ],
)
def test_two_slips_that_are_nearly_as_likely_are_both_told(given: float, nearest: str) -> None:
    assert Range(low=1.0, high=100.0, usual=10.0).slip(given) == nearest


@pytest.mark.parametrize(
    ("sd", "digits"),
    [
        (0.0, 3),
        (5e-4, 3),
        (1e-3, 3),
        (0.0099, 3),
        (0.029, 3),
        (0.031, 2),
        (0.29, 2),
        (0.31, 1),
        (2.9, 1),
        (3.0, 0),
        (3.1, 0),
        (31.0, 0),
        (5e-324, 3),
    ],
)
def test_an_uncertainty_has_two_digits_below_three_and_one_from_there(sd: float, digits: int) -> None:
    assert digits_for(sd) == digits


def test_what_is_known_better_than_is_shown_is_never_known_exactly() -> None:
    assert Uncertain(value=440.0, sd=1e-9).text("Hz") == "440.000 ± 0.001 Hz"


def test_ninety_of_a_hundred_lie_within_so_many_deviations() -> None:
    """Of a normal distribution: the integral, by the standard library's error function."""
    assert math.erf(SD_TO_90 / math.sqrt(2.0)) == pytest.approx(0.9, abs=1e-4)
