"""The report of a lot as PDF: the command's figures on a sheet or two, names as they stand, a whole file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pypdf
import pytest

from canebench.bench.acts.band import band_defaults, settle
from canebench.bench.acts.reeds.reed_days import log_strength, play_reed
from canebench.bench.acts.reeds.stock import move_reed, take_in_lot
from canebench.bench.views.ahead.lot_worth import lot_worth
from canebench.bench.views.paper.print_lot import report_data
from canebench.store.ledger import Ledger, open_ledger
from doors.run import run
from doors.test_cards import NASTY, alternatives, below, plain, size_mm, words_of

if TYPE_CHECKING:
    from pathlib import Path

    from support.ledgers import Clock

_WHO = "tester"


@pytest.fixture
def ledger(tmp_path: Path, clock: Clock) -> Ledger:
    """A lot of four for 40 marks: one settled after an hour, one set aside, two not begun."""
    made = open_ledger(str(tmp_path / "ledger.db"), clock=clock)
    take_in_lot(made, who=_WHO, name="spring", count=4, price=40.0, currency="marks")
    log_strength(made, "1", {"onset": "24 inH2O"}, who=_WHO)
    move_reed(made, "1", to="breaking in", reason="begun", who=_WHO)
    play_reed(made, "1", minutes=60.0, who=_WHO)
    move_reed(made, "1", to="settled", reason="holds its pitch", who=_WHO)
    play_reed(made, "1", minutes=90.0, who=_WHO)
    move_reed(made, "2", to="set aside", reason="flat at the top", who=_WHO)
    return made


def _printed(tmp_path: Path, *options: str) -> Path:
    out = tmp_path / "lot.pdf"
    result = run("worth", "spring", *options, "--pdf", str(out), "--ledger", str(tmp_path / "ledger.db"))
    assert result.exit_code == 0, result.stderr
    assert "Wrote the report of lot spring" in " ".join(result.output.split())
    return out


def test_the_report_says_what_the_command_says(ledger: Ledger, tmp_path: Path) -> None:
    take_in_lot(ledger, who=_WHO, name="autumn", count=3)
    settle(ledger, {"name": "The Long Parish"}, who=_WHO)
    out = _printed(tmp_path, "--against", "autumn", "--need", "5", "--by", "2027-01-01")
    found = lot_worth(ledger, "spring", against="autumn", needed=5, by="2027-01-01")
    said = words_of(out)
    assert found.against is not None
    assert found.proposal is not None
    for words in (
        "What the lot spring was worth",
        "4 reeds, 40.00 marks.",
        *(one.said for one in (*found.worth.figures, *found.against.figures)),
        *found.beside,
        *found.proposal.said,
        "150 min",
        "holds its pitch",
        "flat at the top",
        "by The Long Parish",
        "Lot spring. Printed 2",
        "1 of 1",
    ):
        assert plain(words) in said, words
    reader = pypdf.PdfReader(out)
    assert size_mm(reader) == [(210.0, 297.0)]
    assert str(below(reader.trailer, "/Root", "/MarkInfo")["/Marked"]) == "True"
    assert any(
        "Played most: reed 1, 150 min" in one
        for one in alternatives(below(reader.trailer, "/Root", "/StructTreeRoot"))
    )


def test_what_was_not_asked_is_not_told(ledger: Ledger, tmp_path: Path) -> None:
    """Control, and the paper that is settled."""
    settle(ledger, {"paper": "Letter"}, who=_WHO)
    out = _printed(tmp_path)
    assert size_mm(pypdf.PdfReader(out)) == [(215.9, 279.4)]
    assert plain("What to order") not in words_of(out)


def test_a_lot_of_forty_is_on_two_sheets_and_none_of_its_reeds_is_lost(
    ledger: Ledger, tmp_path: Path
) -> None:
    take_in_lot(ledger, who=_WHO, name="large", count=45)
    for number in range(5, 50):
        play_reed(ledger, f"{number}", minutes=10.0 + number, who=_WHO)
    out = tmp_path / "large.pdf"
    at = ["--ledger", str(tmp_path / "ledger.db")]
    assert run("worth", "large", "--need", "30", "--pdf", str(out), *at).exit_code == 0
    reader = pypdf.PdfReader(out)
    assert len(reader.pages) == 2
    said = words_of(out)
    assert plain("The first 40 of 45 reeds, by number") in said
    assert all(plain(f"{number} open {number + 10} min") in said for number in range(5, 50))
    # The head of the table comes again.
    assert plain(reader.pages[1].extract_text()).startswith(plain("Reed Counts as Played"))


@pytest.mark.parametrize("name", NASTY)
def test_names_and_reasons_are_set_as_they_stand(tmp_path: Path, clock: Clock, name: str) -> None:
    ledger = open_ledger(str(tmp_path / "ledger.db"), clock=clock)
    told = " ".join(name.split())
    take_in_lot(ledger, who=_WHO, name=told, count=2)
    move_reed(ledger, "1", to="set aside", reason=told, who=_WHO)
    out = tmp_path / "lot.pdf"
    result = run("worth", "--pdf", str(out), "--ledger", str(tmp_path / "ledger.db"), "--", told)
    assert result.exit_code == 0, result.stderr
    assert words_of(out).count(plain(told)) >= 4


def test_a_lot_that_nobody_played_has_no_picture(ledger: Ledger) -> None:
    take_in_lot(ledger, who=_WHO, name="unplayed", count=2)
    band = band_defaults(ledger)
    data = report_data(lot_worth(ledger, "unplayed"), band, printed_on="2026-03-01")
    assert data["chart"] is None
    assert report_data(lot_worth(ledger, "spring"), band, printed_on="2026-03-01")["chart"] is not None


@pytest.mark.usefixtures("ledger")
def test_the_file_is_whole_or_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "lot.pdf"
    out.write_bytes(b"the report before")

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    at = ["--ledger", str(tmp_path / "ledger.db")]
    with monkeypatch.context() as broken:
        broken.setattr("os.fsync", full)
        result = run("worth", "spring", "--pdf", str(out), *at)
    assert result.exit_code == 4
    assert "No space left" in result.stderr
    assert out.read_bytes() == b"the report before"
    elsewhere = run("worth", "spring", "--pdf", str(tmp_path / "no/such/lot.pdf"), *at)
    assert elsewhere.exit_code == 4
    assert "cannot be written" in elsewhere.stderr
    assert run("worth", "sprung", "--pdf", str(tmp_path / "none.pdf"), *at).exit_code == 5
    assert not (tmp_path / "none.pdf").exists()
