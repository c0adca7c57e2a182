"""What is printed: size, code, tags, every name as it stands, and a file that is whole or not there."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import TYPE_CHECKING

import pypdf
import pytest
import typst
import zxingcpp
from PIL import Image

from canebench.base.fingering import HOLES
from canebench.base.scales import published_scales
from canebench.bench.acts.reeds.stock import list_reeds
from canebench.bench.views.paper import typeset
from canebench.bench.views.paper.card import card_of, command_for
from canebench.bench.views.paper.print_card import card_data
from canebench.bench.views.paper.print_labels import Grid, label_data
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import ChanterRecord, LotRecord, ReedRecord, TakeRecord
from doors.run import run

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.store.tables import Row

MM_PER_POINT = 25.4 / 72
#: Markup, code, quotes and letters that break careless templates; each is somebody's name here.
NASTY = (
    '#panic("x")',
    "$x^2 + y$ @ref <label> = Heading",
    '*bold* _it_ `raw` \\u{41} \\"',
    '"; #sys.inputs; "',
    "]] #[ }} {{ /* // */",
    "- one\n+ two\r\n/ term: x",
    "<script>&amp;]]></script>",
    "Ünal Ó Gráinne -- 'quoted' ~ x",
)
DEVIATIONS = (3, -4, 2, 8, -2, 9, 12, -14, -9)


@pytest.fixture
def ledger(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Ledger:
    url = str(tmp_path / "ledger.db")
    monkeypatch.setenv("CANEBENCH_LEDGER", url)
    monkeypatch.setenv("CANEBENCH_WHO", "Ailsa")
    assert run("lot", "spring", "--count", "3", "--first", "66").exit_code == 0
    return open_ledger(url)


def fit(
    ledger: Ledger, reed: int = 1, *, name: str = "number 3", notes: int = 9, off: Sequence[int] = DEVIATIONS
) -> None:
    """Everything a card can show of a reed: chanter, player, setting, tape, take, strength, wear."""
    scale = published_scales()["harmonic"]
    with ledger.act("fit", who="Ailsa", said=f"measured it in {name}") as act:
        player = act.insert("players", {"name": name})
        chanter = act.insert("chanters", {"name": name, "player_id": player})
        of_reed: Row = {"reed_id": reed, "at": act.at}
        in_chanter: Row = {**of_reed, "chanter_id": chanter}
        setting = act.insert("settings", {**in_chanter, "seat_mm": 0.5})
        for hole, covered in (("E", 1.5), ("high G", 0.8), ("D", 0.75)):
            act.insert("tapes", {"setting_id": setting, "hole": hole, "covered_mm": covered})
        kept: Row = {
            **in_chanter,
            "player_id": player,
            "setting_id": setting,
            "origin": name,
            "source": "recording",
            "scale": "harmonic",
            "reference": "drones",
            "reference_hz": 478.0,
            "reference_sd_hz": 0.1,
        }
        take = act.insert("takes", kept)
        for note, cents in list(zip(scale.ratios, off, strict=True))[:notes]:
            hz = 478 * scale.ratios[note] * 2 ** (cents / 1200)
            act.insert(
                "pitches",
                {"take_id": take, "note": note, "hz": hz, "sd_hz": 0.1, "repeat_sd_cents": 0.8},
            )
        act.insert("strengths", {**of_reed, "playing_kpa": 6.9745, "playing_sd_kpa": 0.12})
        act.insert("plays", {**of_reed, "minutes": 45.0})
        act.insert("eases", {**of_reed, "how": "pinch"})


def fits(ledger: Ledger, number: str, *, history: str | None = None) -> list[bool]:
    """Whether the words fit their places: header, remark on the holes, groups, history; none is clipped."""
    data = card_data(card_of(ledger, number))
    said = {**data, "history": history or data["history"]}
    source, inputs = typeset._source("card.typ"), typeset._inputs(said)
    found = typst.query(source, "<fits>", field="value", sys_inputs=inputs)
    return [bool(one) for one in json.loads(found)]


def _pictures(template: str, data: Mapping[str, object], *, ppi: float) -> list[bytes]:
    """The pages as pictures, of the same source and data as the PDF."""
    source, inputs = typeset._source(template), typeset._inputs(data)
    made = typst.compile(source, format="png", ppi=ppi, sys_inputs=inputs)
    assert made is not None
    return [made] if isinstance(made, bytes) else made


def card_png(ledger: Ledger, number: str) -> bytes:
    (page,) = _pictures("card.typ", card_data(card_of(ledger, number)), ppi=200)
    return page


def codes_in(png: bytes) -> list[str]:
    """Our codes on a page; a reader takes some modules of others for a small code of another kind."""
    found = [code.text for code in zxingcpp.read_barcodes(Image.open(io.BytesIO(png)))]
    return [text for text in found if text.startswith("canebench ")]


def opened(path: Path) -> pypdf.PdfReader:
    return pypdf.PdfReader(path)


def below(node: object, *names: str) -> pypdf.generic.DictionaryObject:
    """The dictionary that these names lead to."""
    for name in names:
        assert isinstance(node, pypdf.generic.DictionaryObject)
        node = node[name].get_object()
    assert isinstance(node, pypdf.generic.DictionaryObject)
    return node


def size_mm(reader: pypdf.PdfReader) -> list[tuple[float, float]]:
    return [
        (round(float(p.mediabox.width) * MM_PER_POINT, 1), round(float(p.mediabox.height) * MM_PER_POINT, 1))
        for p in reader.pages
    ]


def plain(text: str) -> str:
    """Letters alone, in their order: where lines break is the printer's business."""
    return "".join(one for one in text if not one.isspace() and one not in "\u200b\u00ad")


def words_of(path: Path) -> str:
    return plain("".join(page.extract_text() for page in opened(path).pages))


def printed_card(tmp_path: Path, number: str) -> Path:
    out = tmp_path / "card.pdf"
    result = run("card", number, "--out", str(out))
    assert result.exit_code == 0, result.stderr
    return out


# ------------------------------------------------------------------ the card


def test_a_card_is_a6_tagged_and_says_what_the_ledger_says(ledger: Ledger, tmp_path: Path) -> None:
    fit(ledger)
    out = printed_card(tmp_path, "66")
    reader = opened(out)
    assert size_mm(reader) == [(105.0, 148.0)]
    catalogue = below(reader.trailer, "/Root")
    assert str(below(catalogue, "/MarkInfo")["/Marked"]) == "True"
    assert str(catalogue["/Lang"]) == "en"
    assert reader.metadata is not None
    assert reader.metadata.title == "Setting card of reed 66"
    about = below(catalogue, "/Metadata")
    assert isinstance(about, pypdf.generic.StreamObject)
    assert b"pdfuaid:part" in about.get_data()
    said = words_of(out)
    for words in (
        "Reed 66",
        "new since",
        "number 3",
        "0.50 mm deeper than the hand seat",
        "3 strips, as drawn",
        "cents from the scale harmonic, against the drones (low A 478.00 ± 0.10 Hz)",
        "6.5 ± 0.7 cents flat of the drones",
        "5.0 ± 1.1 cents, octave narrow, top hand flat",
        "F 19.7 ± 1.0 cents above",
        "plays at 6.97 ± 0.12 kPa = 28.0 ± 0.5 inH2O",
        "Pinched once; that is normal",
        "45 minutes in 1 spell",
        "1 take; last: measured it in number 3",
        "Chanter not measured",
    ):
        assert plain(words) in said, words


def alternatives(node: object) -> list[str]:
    """Every /Alt below a node of the structure tree."""
    found: list[str] = []
    node = node.get_object() if isinstance(node, pypdf.generic.IndirectObject) else node
    if isinstance(node, pypdf.generic.DictionaryObject):
        if "/Alt" in node:
            found.append(str(node["/Alt"]))
        found += alternatives(node.get("/K"))
    if isinstance(node, pypdf.generic.ArrayObject):
        for one in node:
            found += alternatives(one)
    return found


def test_pictures_are_told_in_words(ledger: Ledger, tmp_path: Path) -> None:
    fit(ledger)
    said = alternatives(below(opened(printed_card(tmp_path, "66")).trailer, "/Root", "/StructTreeRoot"))
    assert any("canebench reed 66" in one for one in said)
    assert any("E, tape 1.5 mm down from the upper edge" in one for one in said)


def test_the_code_on_a_card_is_read_back(ledger: Ledger) -> None:
    fit(ledger)
    assert codes_in(card_png(ledger, "66")) == ["canebench reed 66"]


def test_a_reed_without_take_setting_or_strength_still_has_its_card(ledger: Ledger, tmp_path: Path) -> None:
    said = words_of(printed_card(tmp_path, "67"))
    for words in ("not written down yet", "none yet: height, tilt", "not measured yet", "no take yet"):
        assert plain(words) in said
    assert codes_in(card_png(ledger, "67")) == ["canebench reed 67"]


def test_a_take_without_high_a_says_so(ledger: Ledger, tmp_path: Path) -> None:
    fit(ledger, notes=8)
    assert plain("not known: high A not in this take") in words_of(printed_card(tmp_path, "66"))


def test_a_take_of_a_foreign_scale_or_without_reference_says_so(ledger: Ledger) -> None:
    fit(ledger)
    for change in ({"scale": "ours alone"}, {"scale": "harmonic", "reference_hz": None}):
        with ledger.act("x", who="Ailsa", said="x") as act:
            act.update(act.row(TakeRecord, 1), change)
        (title, rows) = card_of(ledger, "66").groups[1]
        assert title.startswith("Balance, ")
        assert "not known" in dict(rows)["Take"]


def test_strength_by_mouth_alone_is_said_so(ledger: Ledger) -> None:
    run("strength", "67", "--by-mouth", "a little stronger", "--than", "66")
    assert "by mouth only: a little stronger" in dict(card_of(ledger, "67").groups[2][1])["Strength"]


def test_the_card_and_the_other_doors_give_the_same_holes(ledger: Ledger) -> None:
    fit(ledger)
    card = card_of(ledger, "66")
    assert {hole.name: hole.covered_mm for hole in card.holes if hole.covered_mm} == {
        "high G": 0.8,
        "E": 1.5,
        "D": 0.75,
    }
    assert [hole.name for hole in card.holes if hole.at_back] == ["high A"]


def test_a_damaged_chanter_file_does_not_spoil_the_card(ledger: Ledger) -> None:
    fit(ledger)
    with ledger.act("x", who="Ailsa", said="x") as act:
        act.update(act.row(ChanterRecord, 1), {"chanter_toml": "schema = 7"})
    assert "unreadable" in card_of(ledger, "66").drawn_after


# ------------------------------------------------------------------ names


@pytest.mark.parametrize("name", NASTY)
def test_names_are_set_as_they_stand(ledger: Ledger, tmp_path: Path, name: str) -> None:
    with ledger.act("x", who="Ailsa", said="x") as act:
        act.update(act.row(LotRecord, 1), {"name": f"{name}L"})
    fit(ledger, name=name)
    out = printed_card(tmp_path, "66")
    assert len(opened(out).pages) == 1
    assert words_of(out).count(plain(name)) >= 3


def test_control_spliced_into_the_template_a_name_would_act() -> None:
    with pytest.raises(typst.TypstError, match="x"):
        typst.compile(f"Lot: {NASTY[0]}".encode(), format="pdf")


@pytest.mark.parametrize("cents", [(60, -45, 30, -70, 55, 0, 80, -30, 45), (-199, 140, *[-150] * 6, 0)])
@pytest.mark.parametrize(
    "name", ["number 3", "The second chanter of the older parish band, with the long name"]
)
def test_all_words_fit_with_every_hole_taped_and_every_note_out(
    ledger: Ledger, tmp_path: Path, name: str, cents: tuple[int, ...]
) -> None:
    fit(ledger, name=name, off=cents)
    with ledger.act("x", who="Ailsa", said="x") as act:
        act.update(act.row(LotRecord, 1), {"name": name})
        act.update(act.row(ReedRecord, 1), {"number": "123456-spring-autumn"})
        for hole in set(HOLES) - {"E", "high G", "D"}:
            act.insert("tapes", {"setting_id": 1, "hole": hole, "covered_mm": 2.95})
    assert [hole.covered_mm > 0 for hole in card_of(ledger, "123456-spring-autumn").holes] == [True] * 8
    assert fits(ledger, "123456-spring-autumn") == [True] * 4
    assert size_mm(opened(printed_card(tmp_path, "123456-spring-autumn"))) == [(105.0, 148.0)]


def test_control_words_that_do_not_fit_are_noticed(ledger: Ledger) -> None:
    fit(ledger)
    assert fits(ledger, "66", history="more than the foot holds " * 40) == [True, True, True, False]


@pytest.mark.parametrize(
    "name", ["W" * 200, "i " * 100, "漢字かな" * 50, "🪈" * 200, "e\u0301" * 100, "אבג " * 50, "\u202ename"]
)
def test_long_and_foreign_names_stay_on_one_page(ledger: Ledger, tmp_path: Path, name: str) -> None:
    with ledger.act("x", who="Ailsa", said="x") as act:
        act.update(act.row(ReedRecord, 1), {"number": name})
        act.update(act.row(LotRecord, 1), {"name": name})
    fit(ledger, name=name)
    assert size_mm(opened(printed_card(tmp_path, name))) == [(105.0, 148.0)]
    assert codes_in(card_png(ledger, name)) == [command_for(name)]
    sheets = tmp_path / "labels.pdf"
    assert run("labels", "--out", str(sheets)).exit_code == 0
    assert size_mm(opened(sheets)) == [(210.0, 297.0)]


def test_a_number_that_no_code_holds_is_refused_in_a_sentence(ledger: Ledger, tmp_path: Path) -> None:
    with ledger.act("x", who="Ailsa", said="x") as act:
        act.update(act.row(ReedRecord, 1), {"number": "7" * 300})
    result = run("card", "7" * 300, "--out", str(tmp_path / "card.pdf"))
    assert result.exit_code == 4
    assert "code to print" in result.stderr


# ------------------------------------------------------------------ labels


def test_every_label_is_read_back_and_stands_where_it_should(ledger: Ledger) -> None:
    run("lot", "autumn", "--count", "70", "--first", "1000")
    reeds = list_reeds(ledger)
    pages = _pictures("labels.typ", label_data(reeds, Grid()), ppi=300)
    assert len(pages) == 2
    found = [one for page in pages for one in codes_in(page)]
    assert sorted(found) == sorted(f"canebench reed {reed.number}" for reed in reeds)


@pytest.mark.parametrize(("columns", "rows"), [(1, 1), (3, 8), (5, 13), (7, 22)])
def test_grids_hold_what_they_say_and_codes_are_8_to_14_mm(
    ledger: Ledger, tmp_path: Path, columns: int, rows: int
) -> None:
    run("lot", "autumn", "--count", str(columns * rows - 2), "--first", "1000")
    out = tmp_path / "labels.pdf"
    result = run("labels", "--out", str(out), "--columns", str(columns), "--rows", str(rows), "--json")
    assert json.loads(result.stdout)["labels"] == max(3 + columns * rows - 2, 3)
    assert size_mm(opened(out)) == [(210.0, 297.0)] * (2 if columns * rows > 1 else 3)
    # 25 modules of 33 are the code, the rest its quiet zone.
    assert 8.0 <= Grid(columns=columns, rows=rows).code_mm * 25 / 33 <= 14.0
    page = _pictures("labels.typ", label_data(list_reeds(ledger), Grid(columns=columns, rows=rows)), ppi=300)[
        0
    ]
    assert len(codes_in(page)) == columns * rows


def test_labels_of_a_lot_or_state(ledger: Ledger, tmp_path: Path) -> None:
    run("lot", "autumn", "--count", "2")
    run("move", "66", "on trial", "--reason", "nearest")
    out = str(tmp_path / "labels.pdf")
    assert "Wrote 2 labels" in run("labels", "--lot", "autumn", "--out", out).stdout
    assert "Wrote 1 label," in run("labels", "--state", "on trial", "--out", out).stdout
    nothing = run("labels", "--state", "retired", "--out", out)
    assert nothing.exit_code == 4
    assert "no reed was given" in nothing.stderr
    assert words_of(Path(out)).startswith("66")
    assert ledger is not None


@pytest.mark.usefixtures("ledger")
@pytest.mark.parametrize("option", [("--columns", "8"), ("--rows", "0"), ("--rows", "23")])
def test_a_grid_too_fine_is_refused(tmp_path: Path, option: tuple[str, str]) -> None:
    result = run("labels", "--out", str(tmp_path / "labels.pdf"), *option)
    assert result.exit_code == 4
    assert "hard to read" in result.stderr
    assert list(tmp_path.glob("*.pdf")) == []


def test_defaults_of_the_command_are_those_of_the_function() -> None:
    page = " ".join(run("labels", "-h").stdout.split())
    assert f"[default: {Grid().columns}]" in page
    assert f"[default: {Grid().rows}]" in page


# ------------------------------------------------------------------ the file


@pytest.mark.usefixtures("ledger")
def test_a_print_is_whole_or_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "card.pdf"
    out.write_bytes(b"the card before")

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr("os.fsync", full)
        result = run("card", "66", "--out", str(out))
    assert result.exit_code == 4
    assert "No space left" in result.stderr
    assert out.read_bytes() == b"the card before"
    assert [path.name for path in tmp_path.glob(".card*")] == []
    assert run("card", "66", "--out", str(out)).exit_code == 0
    assert out.read_bytes().startswith(b"%PDF-")


@pytest.mark.usefixtures("ledger")
@pytest.mark.parametrize("where", ["no/such/folder/card.pdf", "."])
def test_a_place_that_cannot_be_written_is_said(tmp_path: Path, where: str) -> None:
    result = run("card", "66", "--out", str(tmp_path / where))
    assert result.exit_code == 4
    assert "cannot be written" in result.stderr


@pytest.mark.usefixtures("ledger")
def test_an_unknown_reed_is_not_found(tmp_path: Path) -> None:
    assert run("card", "7", "--out", str(tmp_path / "card.pdf")).exit_code == 5
    assert list(tmp_path.glob("*.pdf")) == []


def test_the_beam_stands_on_the_card_of_a_reed_that_has_a_take(ledger: Ledger, tmp_path: Path) -> None:
    assert card_data(card_of(ledger, "66"))["beam"] is None
    fit(ledger)
    data = card_data(card_of(ledger, "66"))
    assert "<svg" in data["beam"]
    assert "var(--" not in data["beam"]
    for note in ("low G", "high A"):
        assert f">{note}<" in data["beam"]
    out = tmp_path / "card.pdf"
    assert run("card", "66", "--out", str(out)).exit_code == 0
    pages = pypdf.PdfReader(out).pages
    assert len(pages) == 1
    assert "low G" in pages[0].extract_text()


def test_a_take_without_a_beam_still_has_a_card(ledger: Ledger, tmp_path: Path) -> None:
    fit(ledger, notes=1)
    out = tmp_path / "card.pdf"
    assert run("card", "66", "--out", str(out)).exit_code == 0
    assert len(pypdf.PdfReader(out).pages) == 1
