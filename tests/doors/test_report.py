"""From a measurement to words, picture and page: what a piper reads is what was measured."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import pytest

from canebench.base.errors import InputError
from canebench.base.finding import Finding
from canebench.base.notes import NOTES
from canebench.bench.acts.fitting.report import TakeReport, report_on, unsteadiness_cents
from canebench.bench.views.drawing.draw_beam import beam_of, draw_beam, save_beam
from canebench.bench.views.verdict import verdict_of
from canebench.cli.text.report_text import report_text
from canebench.cli.text.terminal_beam import ASCII, UNICODE, all_of, terminal_beam
from canebench.cli.text.words import fitting, table
from canebench.fitting.acts import Act
from doors.made_takes import TOP_FLAT, made_measurement

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.sound.analysis.readings import Measurement

SILENCE = Finding(code="no-chanter", text="No chanter was heard.", refuses=True)


def page(measurement: Measurement, *, encoding: str = "utf-8", title: str | None = None) -> str:
    return fitting(report_text(report_on(measurement), title=title, encoding=encoding), encoding)


# ------------------------------------------------------------------------- words


def test_the_three_numbers_in_words() -> None:
    said = verdict_of(report_on(made_measurement(TOP_FLAT)))
    assert said.height.startswith("2.5 ± 0.4 cents flat of the drones")
    assert said.tilt == "18.0 ± 0.8 cents, octave narrow, top hand flat"
    assert said.left == "D 8.5 ± 0.7 cents above the beam"
    assert "harmonic" in said.basis
    assert "478.20 ± 0.05 Hz" in said.basis


def test_height_is_not_judged_against_its_own_low_a() -> None:
    said = verdict_of(report_on(made_measurement({"low A": 0.0, "high A": -9.0}, kind="low-a")))
    assert said.height.startswith("not judged")
    assert "top hand flat" in said.tilt


def test_what_cannot_be_told_is_said() -> None:
    said = verdict_of(report_on(made_measurement(TOP_FLAT, sd_hz=9.0)))
    assert "too uncertain to tell" in said.tilt
    assert "too uncertain to tell: low G" in said.left


def test_a_missing_a_is_named() -> None:
    said = verdict_of(report_on(made_measurement({"high A": 3.0, "E": 1.0})))
    assert said.height == said.tilt == said.left == "not known: low A not in this take"


# ------------------------------------------------------------------------ report


def test_the_shared_uncertainty_of_the_reference_does_not_blur_the_tilt() -> None:
    """A reading's sd_cents holds the reference's uncertainty; two notes share it, so it cancels in tilt."""
    measured = made_measurement(TOP_FLAT)
    assert measured.reference is not None
    blurred = replace(
        measured,
        reference=replace(measured.reference, sd_hz=5.0),
        notes=tuple(replace(note, sd_cents=18.0) for note in measured.notes),
    )
    sharp, vague = report_on(measured).balance, report_on(blurred).balance
    assert sharp is not None
    assert vague is not None
    assert vague.tilt_cents == sharp.tilt_cents
    assert vague.height_cents.sd == pytest.approx(18.1, abs=0.1)


def test_unsteady_blowing_blurs_what_the_reed_is_judged_by() -> None:
    """A spread of 2 cents over 4 s, one independent value a second: by hand 1 cent, and sqrt(2) in tilt."""
    measured = made_measurement(TOP_FLAT, sd_hz=0.0, spread_cents=2.0)
    report = report_on(measured)
    assert unsteadiness_cents(measured.notes[0]) == pytest.approx(1.0)
    assert report.repeat_sd_cents["D"] == pytest.approx(1.0)
    assert report.balance is not None
    assert report.balance.tilt_cents.sd == pytest.approx(math.sqrt(2))
    assert "−11.5 ± 1.0" in page(measured)


def test_against_its_own_low_a_the_wavering_of_low_a_is_in_the_other_notes() -> None:
    measured = made_measurement({"low A": 0.0, "high A": -9.0}, kind="low-a", sd_hz=0.0, spread_cents=2.0)
    report = report_on(measured)
    assert report.repeat_sd_cents == {"low A": 0.0, "high A": pytest.approx(math.sqrt(2))}
    assert report.balance is not None
    assert report.balance.tilt_cents.sd == pytest.approx(math.sqrt(2))


def test_control_a_short_note_is_not_made_certain_by_its_length() -> None:
    measured = made_measurement(TOP_FLAT, spread_cents=2.0)
    short = replace(measured.notes[0], spans_s=((1.0, 1.2),))
    assert unsteadiness_cents(short) == 2.0


def test_a_refused_take_asks_for_another_and_says_why() -> None:
    report = report_on(made_measurement({}, findings=(SILENCE,)))
    assert (report.balance, report.next_act.act) == (None, Act.MEASURE_AGAIN)
    assert report.next_act.why == SILENCE.text


def test_one_note_without_an_uncertainty_does_not_stop_the_rest() -> None:
    measured = made_measurement(TOP_FLAT)
    notes = (replace(measured.notes[0], sd_hz=math.nan, sd_cents=math.nan), *measured.notes[1:])
    report = report_on(replace(measured, notes=notes))
    assert report.next_act.act is Act.SEAT_DEEPER
    assert "not estimated" in page(replace(measured, notes=notes))


# ----------------------------------------------------------------------- picture


def test_the_picture_says_every_number_in_its_text_alternative() -> None:
    report = report_on(made_measurement({n: c for n, c in TOP_FLAT.items() if n != "B"}))
    root = ET.fromstring(draw_beam(report, title="Reed 12 in chanter 3"))  # noqa: S314 - our own output
    said = root.findtext("{http://www.w3.org/2000/svg}desc") or ""
    for word in (
        "D +7.5 ± 0.5 cents",
        "B not played",
        "18.0 ± 0.8 cents",
        "Seat the reed deeper",
        "harmonic",
    ):
        assert word in said
    assert root.findtext("{http://www.w3.org/2000/svg}title") == "Reed 12 in chanter 3"


def test_a_picture_that_cannot_be_written_is_an_error_with_words(tmp_path: Path) -> None:
    report = report_on(made_measurement(TOP_FLAT))
    save_beam(report, tmp_path / "beam.svg")
    assert (tmp_path / "beam.svg").read_text("utf-8") == draw_beam(report)
    with pytest.raises(InputError, match="cannot be written"):
        save_beam(report, tmp_path / "no" / "beam.svg")


def test_before_and_now_on_one_picture() -> None:
    report = report_on(made_measurement(TOP_FLAT))
    assert ">before<" in draw_beam(report, before=report)
    assert ">before<" not in draw_beam(report)


# -------------------------------------------------------------------------- page


def test_the_page_holds_table_beam_words_and_one_act() -> None:
    text = page(made_measurement(TOP_FLAT), title="Reed 12")
    assert text.startswith("Reed 12\n")
    for word in (
        "pitch Hz",
        "off cents",
        "left cents",
        "Height",
        "Tilt",
        "Left",
        "Why",
        "Check",
        "Stop",
        "Care",
    ):
        assert word in text
    assert text.count("\nNext ") == 1
    assert "−11.5 ± 0.4" in text


def test_an_uncertainty_is_never_shown_as_nothing() -> None:
    measured = made_measurement(TOP_FLAT)
    drones = tuple(replace(drone, sd_hz=1e-5) for drone in measured.drones)
    text = page(replace(measured, drones=drones))
    assert "119.550 ± 0.001" in text
    assert "± 0.000" not in text


@pytest.mark.parametrize("columns", [40, 60, 80, 100, 200])
def test_the_page_fits_the_terminal(columns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    lines = page(made_measurement(TOP_FLAT)).splitlines()
    # A table keeps its first two columns however narrow it gets: they are 40 wide with the drones' names.
    assert max(len(line) for line in lines) <= max(41, min(columns, 100))


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252", "utf-8"])
def test_the_page_in_any_encoding(encoding: str) -> None:
    text = page(made_measurement(TOP_FLAT, origin="Réed 7 漢.wav"), encoding=encoding)
    text.encode(encoding)
    assert ("■" in text) == (encoding == "utf-8")
    assert ("#" in text) == (encoding != "utf-8")


def test_control_the_page_as_it_is_does_not_fit_ascii() -> None:
    with pytest.raises(UnicodeEncodeError, match="ascii"):
        report_text(report_on(made_measurement(TOP_FLAT)), title=None, encoding="utf-8").encode("ascii")


def test_a_refused_page_says_so_without_a_table() -> None:
    text = page(made_measurement({}, findings=(SILENCE,)))
    assert "off cents" not in text
    assert text.count("No chanter was heard.") == 1
    assert "no cents, since nothing could be measured" in text


def test_what_was_noticed_is_shown_with_its_code() -> None:
    remark = Finding(code="clipped", text="Some samples are cut off.")
    assert "Some samples are cut off. [clipped]" in page(made_measurement(TOP_FLAT, findings=(remark,)))


def test_columns_of_a_table_give_way_from_the_end() -> None:
    rows = [("low G", "1", "2"), ("B", "100", "3")]
    assert table(("note", "pitch Hz", "off"), rows, columns=80).splitlines() == [
        "note   pitch Hz  off",
        "low G         1    2",
        "B           100    3",
    ]
    assert "off" not in table(("note", "pitch Hz", "off"), rows, columns=16)


# ----------------------------------------------------------------- terminal beam


def drawn(report: TakeReport, columns: int = 80) -> list[str]:
    return terminal_beam(beam_of(report), columns=columns, strokes=UNICODE).splitlines()


def test_marks_of_the_terminal_beam() -> None:
    text = "\n".join(drawn(report_on(made_measurement(TOP_FLAT))))
    assert (text.count("■"), text.count("◆"), text.count("●")) == (2, 2, 5)
    for note in NOTES:
        assert note in text


def test_notes_not_played_stand_in_brackets() -> None:
    lines = drawn(report_on(made_measurement({"low A": 1.0, "high A": -1.0})))
    assert "(high G)" in lines[-1]
    assert "■" in "".join(lines)
    assert "●" not in "".join(lines)


@pytest.mark.parametrize("cents", [-900.0, 900.0])
def test_wide_values_stay_in_the_picture(cents: float) -> None:
    lines = drawn(report_on(made_measurement(TOP_FLAT | {"F": cents})), columns=60)
    assert len(lines) == 15
    assert max(len(line) for line in lines) <= 60


def test_plain_strokes_are_plain() -> None:
    assert all_of(ASCII).isascii()
    assert not all_of(UNICODE).isascii()
