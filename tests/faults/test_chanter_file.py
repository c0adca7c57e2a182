"""Chanter files that cannot be: one error in plain words, at once, whatever was written."""

from __future__ import annotations

import re
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any
from unittest.mock import patch

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from canebench.base.errors import CanebenchError, InputError, NotFoundError
from canebench.base.toml_file import MOST_BYTES, tables
from canebench.bore import chanter_file
from canebench.bore.chanter_file import ChanterFile, Spread, generic, generic_text, parse, read
from support.effort import worked_s

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_TEXT = generic_text()
_LINES = _TEXT.splitlines()
_AT_ONCE_S = 1.0
_PROFILE = "profile_mm = [[0, 4.0], [60, 7.0], [150, 11.4], [240, 15.9], [325, 20.2]]"


@contextmanager
def _at_once() -> Iterator[None]:
    start = worked_s()
    yield
    took_s = worked_s() - start
    assert took_s < _AT_ONCE_S, f"it took {took_s:.1f} s to say so"


def _with(old: str, new: str) -> str:
    """The generic file with its first `old` written otherwise."""
    assert old in _TEXT
    return _TEXT.replace(old, new, 1)


def _profile(factor: float) -> str:
    points = [(0, 4.0), (60, 7.0), (150, 11.4), (240, 15.9), (325, 20.2)]
    scaled = [[round(at * factor, 4), round(wide * factor, 4)] for at, wide in points]
    return _with(_PROFILE, f"profile_mm = {scaled}")


#: The text, and what the error says.
REFUSED: dict[str, tuple[str, str]] = {
    "nothing": ("", r"c\.toml: schema: nothing was given; .* a first line, schema = "),
    "another schema": (
        _with("chanter/1", "chanter/9"),
        r'schema: .*chanter/9.* "canebench\.chanter/1" is read',
    ),
    "no profile": (_with(_PROFILE, ""), "profile_mm: nothing was given; 2 to 201 pairs"),
    "no seat": (_TEXT.replace("[seat]", "").replace("gap_mm = 3.0", ""), "diameter_mm.*allowed are schema"),
    "a seat without a gap": (_with("gap_mm = 3.0\n", ""), "seat: gap_mm: nothing was given; a number"),
    "a seat that is a number": (
        "seat = 6.0\n" + re.sub(r"\[seat\].*\n(.*\n){2}", "", _TEXT),
        r"seat: 6 was given; a table \[seat\] is needed",
    ),
    "a misspelt table": (_with("[seat]", "[saet]"), "'saet' was given; .*Nearest that works: seat"),
    "a misspelt key": (_with("wall_mm", "wal_mm"), "hole high A: 'wal_mm' was .*Nearest that works: wall_mm"),
    "a misspelt spread": (_with("walls =", "wall ="), "spread: 'wall' was given; .*: walls"),
    "a misspelt note": (_with('"high G"', '"hi G"'), "note of a hole: 'hi G' was given; .*: high G"),
    "a note that is a list": (
        _with('note = "E"', "note = [1]"),
        r"note of a hole: '\[1\]' was given; allowed",
    ),
    "a hole twice": (_with('note = "D"', 'note = "E"'), "hole E: twice was given; each hole stands once"),
    "seven holes": (
        re.sub(r'\[\[hole\]\]\nnote = "B"\n(.*\n){3}', "", _TEXT),
        "hole: no B was given; eight are needed",
    ),
    "nine holes": (
        _TEXT.replace("[[vent]]", '[[hole]]\nnote = "x"', 1),
        "hole: 9 of them was given; at most 8",
    ),
    "holes in no list": (
        "hole = 3\n" + re.sub(r"\[\[hole\]\]\n(.*\n){4}", "", _TEXT),
        "hole: 3 was given; at most 8 tables",
    ),
    "a number in quotes": (
        _with("gap_mm = 3.0", 'gap_mm = "3.0"'),
        "seat: gap_mm: '3.0' was given; a number is needed",
    ),
    "a truth value": (
        _with("gap_mm = 3.0", "gap_mm = true"),
        "seat: gap_mm: True was given; a number is needed",
    ),
    "a date": (
        _with("gap_mm = 3.0", "gap_mm = 2020-01-01"),
        "seat: gap_mm: .* was given; a number is needed",
    ),
    "not a number": (
        _with("gap_mm = 3.0", "gap_mm = nan"),
        "gap below the staple: nan was given; a number of",
    ),
    "an endless number": (_with("60, 7.0", "inf, 7.0"), r"profile_mm: \[inf, 7.0\] was given; a pair"),
    "300 digits": (
        _with("60, 7.0", f"1{'0' * 400}, 7.0"),
        "profile_mm: .* after .* distances from the throat rise",
    ),
    "400 digits wide": (
        _with("60, 7.0", f"60, 1{'0' * 400}"),
        "something too large to write out was given; from 1",
    ),
    "5000 digits": (_with("gap_mm = 3.0", f"gap_mm = {'9' * 5000}"), "an endless number was given"),
    "a hexadecimal number without end": (
        _with("gap_mm = 3.0", f"gap_mm = [0x{'f' * 50_000}]"),
        "gap_mm: something too large",
    ),
    "a name that is a number": (_with('name = "generic"', "name = 5"), "name: 5 was given; text in quotes"),
    "a name that steers a terminal": (
        _with('"generic"', r'"\u001b[2J"'),
        "name: .* was given; text in quotes",
    ),
    "a profile out of order": (
        _with("[60, 7.0]", "[160, 7.0]"),
        "150 mm after 160 mm was given; .*exchanged",
    ),
    "a profile that starts lower": (
        _with("[[0, 4.0]", "[[1, 4.0]"),
        "a start at 1 mm was given; it starts at",
    ),
    "a profile of one entry": (_with(_PROFILE, "profile_mm = [[0, 4.0]]"), "1 entries was given; 2 to 201"),
    "a profile that is text": (_with(_PROFILE, 'profile_mm = "x"'), "profile_mm: 'x' was given; 2 to 201"),
    "a profile of 10 000 entries": (
        _with(_PROFILE, f"profile_mm = {[[1, 4]] * 10_000}"),
        "10000 entries was given",
    ),
    "a profile with decimal commas": (
        _with("[60, 7.0]", "[60, 7,0]"),
        r"\[60, 7, 0\] was given; .* not a comma",
    ),
    "a spread in per cent": (
        _with("bore = 0.03", "bore = 3"),
        "spread of bore: 3 was .*: 0.03, if that was per c",
    ),
    "a spread that is text": (
        _with("bore = 0.03", 'bore = "3 %"'),
        "spread: bore: '3 %' was given; a number",
    ),
    "a hole in centimetres": (
        _with("diameter_mm = 7.0", "diameter_mm = 0.7"),
        "c.toml: hole F: diameter of a hole: 0.7 mm was given; .*: 7 mm, if that was centimetres",
    ),
    "a whole file in inches": (
        _profile(1 / 25.4),
        r"last entry: 12\.7953 mm .*: 325 mm, if that was inches\.",
    ),
    "a whole file in centimetres": (
        _profile(0.1),
        r"last entry: 32\.5 mm was .*: 325 mm, if that was centimetres\.",
    ),
    "a whole file in metres": (_profile(1e-3), r"last entry: 0\.325 mm was .*: 325 mm, if that was metres\."),
    "positions in centimetres": (
        re.sub(r"position_mm = (\S+)", lambda found: f"position_mm = {float(found[1]) / 10}", _TEXT),
        "c.toml: position of the lowest finger hole: 23.08 mm .*: 230.8 mm, if that was centimetres",
    ),
    "a decimal comma": (
        _with("gap_mm = 3.0", "gap_mm = 3,0"),
        r"c\.toml, line 13: 'gap_mm = 3,0' was given; TOML is needed \(.*\)\. Nearest .* not a comma",
    ),
    "a unit": (
        _with("gap_mm = 3.0", "gap_mm = 3.0 mm"),
        "line 13: .*the number alone; its unit is in the key",
    ),
    "bare text": (_with('note = "F"', "note = F"), "line 34: 'note = F' was given; .*straight quotes"),
    "curly quotes": (_with('note = "F"', "note = “F”"), "line 34: .*text stands in straight quotes"),
    "no digit before the point": (
        _with("bore = 0.03", "bore = .03"),
        "line .*digits on both sides of the point",
    ),
    "a key twice": (
        _with("gap_mm = 3.0", "gap_mm = 3.0\ngap_mm = 4"),
        "line 14: .*perhaps it stands there twice",
    ),
    "prose": (
        f"Sizes of my chanter\n{_TEXT}",
        "line 1: 'Sizes of my chanter' .*a key, an equals sign and a value",
    ),
    "an end in the middle": (_TEXT[: _TEXT.index("[325")], r"c\.toml.*TOML is needed"),
    "a zero byte": (_TEXT.replace("\n", "\0\n", 1), "line 1: .* was given; TOML is needed"),
    "lists within lists": ("x = " + "[" * 50_000, "lists within lists was given"),
    "tables within tables": ("x = " + "{a=" * 30_000, "lists within lists was given"),
    "a key of many parts": ("a." * 49_000 + "a = 1", "a key of many parts was given"),
    "a quoted key of many parts": ('"\\"" . ' * 14_000 + "a = 1", "a key of many parts was given"),
    "a table of many parts": ("[" + "a." * 49_000 + "a]", "a key of many parts was given"),
    "a key without end": ("a" * 99_000 + " = 1", "'aaaaaaaaa.* was given; allowed are"),
    "spaces without end": ("a ." + " " * 99_000, "TOML is needed"),
    "quotes without end": ('"' * 99_999, "TOML is needed"),
    "many tables": ("[[hole]]\n" * 11_000, "schema: nothing was given"),
    "a long text": ("#" * 10_000_000, "more than 100000 bytes was given; at most 100000 are read"),
}


@pytest.mark.parametrize("name", list(REFUSED))
def test_it_is_refused_in_plain_words(name: str) -> None:
    text, said = REFUSED[name]
    with _at_once(), pytest.raises(InputError, match=said) as error:
        parse(text, name="c.toml")
    assert str(error.value).startswith("c.toml")
    assert str(error.value).count("c.toml") == 1
    assert len(str(error.value)) < 500


def test_control_the_generic_file_is_taken() -> None:
    assert parse(_TEXT, name="c.toml").chanter == generic().chanter
    assert parse("\ufeff" + _TEXT, name="c.toml").reed == generic().reed
    assert parse(_TEXT.replace("\n", "\r\n"), name="c.toml").spread == generic().spread


def test_comments_do_no_harm() -> None:
    """Wherever they stand and whatever they say, keys of many parts apart."""
    said = "  # gap_mm = 3,0 [seat] [[hole]] “x” ... 1.2.3, e.g. \\ \" '''"
    text = "\n".join(line if "#" in line else line + said for line in _LINES)
    assert parse(text, name="c.toml").chanter == generic().chanter


def test_what_is_left_out_of_the_spread_is_the_generic_chanter_s() -> None:
    text = _TEXT[: _TEXT.index("[spread]")]
    assert parse(text, name="c.toml").spread == generic().spread
    assert parse(text + "[spread]\nbore = 0.01", name="c.toml").spread.bore == 0.01


@pytest.mark.parametrize("given", [None, "1", True, float("nan"), 10**400])
def test_a_spread_that_is_no_size_is_refused(given: Any) -> None:
    known = {name: getattr(generic().spread, name) for name in Spread.__slots__}
    with _at_once(), pytest.raises(InputError, match=r"spread of reed: .* was given; .*from 0\.001 to 0\.6"):
        Spread(**{**known, "reed": given})


def test_a_file_is_read_with_and_without_a_byte_order_mark(tmp_path: Path) -> None:
    for start in (b"", b"\xef\xbb\xbf"):
        path = tmp_path / "mine.toml"
        path.write_bytes(start + _TEXT.encode())
        assert read(path).chanter == generic().chanter


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a directory was given; a file is needed"):
        read(tmp_path)
    with pytest.raises(
        NotFoundError, match=r"no such file\. A chanter file to start from: canebench chanter"
    ):
        read(tmp_path / "none.toml")
    with pytest.raises(CanebenchError, match=r"no such file|cannot be read"):
        read(tmp_path / ("x" * 5_000))
    with pytest.raises(NotFoundError, match="no such file"):
        read(tmp_path / "a\0b")
    for name, data in {"utf16": _TEXT.encode("utf-16"), "latin": "# é".encode("latin-1")}.items():
        (tmp_path / name).write_bytes(data)
        with pytest.raises(InputError, match="not text was given; UTF-8 text is needed"):
            read(tmp_path / name)


def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    """Also where only the directory refuses: the system's refusal is told, not thrown."""
    (tmp_path / "mine.toml").write_text(_TEXT, encoding="utf-8")
    for act in ("open", "is_file", "is_dir"):
        refusal = PermissionError(13, "Permission denied")
        with (
            patch(f"pathlib.Path.{act}", side_effect=refusal),
            pytest.raises(
                InputError, match=r"cannot be read \(Permission denied\) was given; it must be read"
            ),
        ):
            read(tmp_path / "mine.toml")


def test_a_huge_file_is_not_read_to_its_end(tmp_path: Path) -> None:
    path = tmp_path / "huge.toml"
    with path.open("wb") as handle:
        handle.truncate(10**12)
    with _at_once(), pytest.raises(InputError, match="more than 100000 bytes was given"):
        read(path)


_NUMBER = re.compile(r"(?<![\w.])\d+(\.\d+)?(?![\w.])")
#: What a line may become: of slips, of units, of malice.
_PIECES = st.sampled_from(
    [
        "",
        "=",
        "[",
        "]",
        "[[hole]]",
        "[seat]",
        '"',
        ",",
        "nan",
        "-1",
        "1e999",
        "true",
        "#",
        "note = 1",
        "{}",
        "\0",
        "é",
        "'",
        "profile_mm = []",
        "spread = 1",
        "\ufeff",
        "1_0",
        "0x1",
        "9" * 400,
        "1979-05-27",
        "[[seat]]",
        "[hole]",
        "seat.x = 1",
        "\\u001b",
        '"""',
    ]
)
_FACTORS = st.sampled_from([0.0, -1.0, 0.001, 1 / 25.4, 0.1, 0.9, 1.0, 1.1, 10.0, 25.4, 1e3, 1e30, 1e200])


@st.composite
def _mutated(draw: st.DrawFn) -> str:
    """The generic file after one to five changes."""
    lines = list(_LINES)
    for _ in range(draw(st.integers(1, 5))):
        at = draw(st.integers(0, len(lines) - 1))
        match draw(
            st.sampled_from(["drop", "twice", "swap", "scale", "scale all", "cut", "insert", "replace"])
        ):
            case "drop":
                del lines[at]
            case "twice":
                lines.insert(at, lines[at])
            case "swap":
                other = draw(st.integers(0, len(lines) - 1))
                lines[at], lines[other] = lines[other], lines[at]
            case "scale":
                lines[at] = _scaled(lines[at], draw(_FACTORS))
            case "scale all":
                factor = draw(_FACTORS)
                lines = [_scaled(line, factor) for line in lines]
            case "cut":
                lines[at] = lines[at][: draw(st.integers(0, len(lines[at])))]
            case "insert":
                where = draw(st.integers(0, len(lines[at])))
                lines[at] = lines[at][:where] + draw(_PIECES) + lines[at][where:]
            case "replace":
                lines[at] = draw(st.one_of(_PIECES, st.text(max_size=20)))
    return "\n".join(lines)


def _scaled(line: str, factor: float) -> str:
    return _NUMBER.sub(lambda found: repr(float(found[0]) * factor), line)


def _only_our_errors(text: str) -> str:
    """It parses or is refused by an error of ours, at once; which of the two."""
    with _at_once():
        try:
            found: object = chanter_file.parse(text, name="c.toml")
        except CanebenchError as error:
            found = str(error)
    if isinstance(found, ChanterFile):
        return "taken"
    assert str(found).startswith("c.toml"), "the error does not name the file"
    return "refused"


_BOUNDED = settings(
    max_examples=200, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)


@_BOUNDED
@given(text=_mutated())
def test_whatever_a_file_holds_it_is_taken_or_refused_in_our_words(text: str) -> None:
    _only_our_errors(text)


def test_control_a_raw_error_is_caught() -> None:
    """The same search finds a reader that takes a key for granted."""

    def careless(where: str, table: dict[str, Any], keys: tuple[str, ...]) -> dict[str, float]:
        return careful(where, {key: table[key] for key in keys}, keys)

    careful = chanter_file._numbers

    @settings(_BOUNDED, report_multiple_bugs=False)
    @given(text=_mutated())
    def search(text: str) -> None:
        _only_our_errors(text)

    with patch.object(chanter_file, "_numbers", careless), pytest.raises(KeyError, match="_mm"):
        search()


def test_control_the_search_meets_files_of_both_kinds() -> None:
    """Were all refused at the first line, it would prove little."""
    outcomes: list[str] = []

    @settings(_BOUNDED, max_examples=100)
    @given(text=_mutated())
    def search(text: str) -> None:
        outcomes.append(_only_our_errors(text))

    search()
    assert outcomes.count("taken") >= 5
    assert outcomes.count("refused") >= 20


def test_the_longest_text_is_read_and_a_longer_one_is_not() -> None:
    assert tables("#" * MOST_BYTES, name="text") == {}
    with pytest.raises(InputError, match=f"more than {MOST_BYTES} bytes"):
        tables("#" * (MOST_BYTES + 1), name="text")
