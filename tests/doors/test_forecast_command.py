"""What a reed will become, from the ledger: what is known by when, and for whom."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import pytest

from canebench.base.errors import InputError
from canebench.base.pressure import PressureUnit, to_kpa
from canebench.bench.acts.fitting.fit_reed import Place, fit_reed
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.type_take import Typed
from canebench.bench.acts.reeds.chanters import keep_chanter
from canebench.bench.acts.reeds.choose_reeds import pitches_of
from canebench.bench.acts.reeds.people import set_player
from canebench.bench.acts.reeds.reed_days import ease_reed, log_strength, play_reed
from canebench.bench.acts.reeds.stock import take_in_lot
from canebench.bench.views.ahead.foretold import lot_foretold, reed_foretold
from canebench.bench.views.ahead.histories import REFERENCE_HZ, bench_around, until
from canebench.bench.views.kept_take import kept_octave, kept_posts, kept_report
from canebench.reeds.forecasts.keeping import Keeping
from canebench.reeds.forecasts.settled import USUAL_RULE, rule_from
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import TakeRecord
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.reeds.forecasts.history import ReedHistory
    from canebench.store.tables import Row
    from support.ledgers import Clock

_WHO = "tester"


@pytest.fixture
def ledger(tmp_path: Path, clock: Clock) -> Ledger:
    """Six reeds of one lot; Isla blows 28 inches and will not pass 32."""
    made = open_ledger(str(tmp_path / "ledger.db"), clock=clock)
    take_in_lot(made, who=_WHO, name="spring", count=6)
    set_player(made, "Isla", who=_WHO, blows="28 inH2O", ceiling="32 inH2O")
    return made


def _evening(ledger: Ledger, clock: Clock, number: str, playing: float, *, minutes: float = 15.0) -> None:
    play_reed(ledger, number, minutes=minutes, who=_WHO)
    log_strength(ledger, number, {"playing": f"{playing} inH2O"}, who=_WHO)
    clock.pass_days(1.5)


def _life(ledger: Ledger, number: str) -> ReedHistory:
    with ledger.reading() as reader:
        bench = bench_around(reader, None)
    return next(life for life in bench.lives.values() if life.number == number)


def test_a_life_is_what_the_ledger_has_of_it(ledger: Ledger, clock: Clock) -> None:
    keep_chanter(ledger, "one", who=_WHO, sizes=None)
    heard = {"low A": Typed(value=475.0, unit="Hz"), "high A": Typed(value=950.0, unit="Hz")}
    fit_reed(ledger, FitRequest(heard=heard), place=Place(reed="1", chanter="one"), who=_WHO)
    _evening(ledger, clock, "1", 30.0, minutes=12.0)
    play_reed(ledger, "1", minutes=0.0, who=_WHO)
    ease_reed(ledger, "1", how="pinch", who=_WHO)
    log_strength(ledger, "2", {"onset": "24 inH2O", "playing": "28 inH2O"}, who=_WHO)
    log_strength(ledger, "1", {}, who=_WHO, by_mouth="same", than="2")
    # Reed 3 was measured after reed 1 was held against it: that told nothing then.
    log_strength(ledger, "1", {}, who=_WHO, by_mouth="easier", than="3")
    log_strength(ledger, "3", {"onset": "25 inH2O"}, who=_WHO)
    life = _life(ledger, "1")
    assert life.lot == "spring"
    assert life.chanter == "one"
    assert [one.minutes for one in life.played] == [12.0]
    assert life.pinches == 1
    assert [one.words for one in life.by_mouth] == ["same"]
    assert life.by_mouth[0].than_kpa == pytest.approx(to_kpa(24.0, PressureUnit.INH2O))
    low_a = [one.low_a_cents for one in life.readings if one.low_a_cents is not None]
    assert low_a == [pytest.approx(18.32, abs=0.01)]
    assert REFERENCE_HZ == 470.0
    tilts = [one.tilt_cents for one in life.readings if one.tilt_cents is not None]
    assert tilts == [pytest.approx(0.0, abs=0.01)]
    strengths = [one.strength_kpa for one in life.readings if one.strength_kpa is not None]
    assert len(strengths) == 1
    assert strengths[0] < to_kpa(30.0, PressureUnit.INH2O)


def test_a_take_played_once_is_read_all_the_same(ledger: Ledger) -> None:
    """How well its notes repeat is not known; it was an endless uncertainty."""
    with ledger.act("take", who=_WHO, said="x") as act:
        told: Row = {"reed_id": 1, "at": act.at, "origin": "typed", "source": "typed", "scale": "harmonic"}
        take = act.insert("takes", {**told, "reference": "fixed", "reference_hz": 470.0})
        for note, hz in (("low A", 470.0), ("high A", 945.0)):
            act.insert("pitches", {"take_id": take, "note": note, "hz": hz})
    reading = _life(ledger, "1").readings[0]
    assert reading.tilt_cents == pytest.approx(9.19, abs=0.01)
    assert reading.tilt_sd_cents is None
    assert reed_foretold(ledger, "1").lines[0].tilt_cents.median > 2.0


def test_the_octave_of_many_takes_is_that_of_each_ones_report(ledger: Ledger) -> None:
    """Whatever else was heard. Control: one without an A or by a scale that is not ours tells nothing."""
    with ledger.act("take", who=_WHO, said="x") as act:
        told: Row = {"reed_id": 1, "at": act.at, "origin": "typed", "source": "typed", "reference": "fixed"}
        for scale, heard in (
            ("harmonic", (("low A", 470.0, 1.5), ("B", 530.0, 2.0), ("high A", 945.0, 2.5))),
            ("harmonic", (("high A", 951.0, None), ("low A", 476.0, 0.5))),
            ("harmonic", (("low A", 470.0, 1.5), ("B", 530.0, 2.0))),
            ("of another bench", (("low A", 470.0, 1.5), ("high A", 945.0, 2.5))),
        ):
            take = act.insert(
                "takes", {**told, "scale": scale, "reference_hz": 471.0, "reference_sd_hz": 0.2}
            )
            for note, hz, sd in heard:
                act.insert("pitches", {"take_id": take, "note": note, "hz": hz, "repeat_sd_cents": sd})
    with ledger.reading() as reader:
        takes = reader.rows(TakeRecord)
        posts, pitches = kept_posts(reader, takes), pitches_of(reader, takes)
    octaves = [kept_octave(kept, posts[kept.id]) for kept in takes]
    for kept, octave in zip(takes[:2], octaves, strict=False):
        report = kept_report(kept, pitches[kept.id])
        assert report is not None
        assert report.balance is not None
        assert octave == (report.balance.tilt_cents.value, report.balance.tilt_cents.sd)
    assert octaves[2:] == [None, None]


def test_of_a_life_until_then_nothing_later_is_known(ledger: Ledger, clock: Clock) -> None:
    _evening(ledger, clock, "1", 30.0)
    then = clock()
    _evening(ledger, clock, "1", 29.0)
    ease_reed(ledger, "1", how="pinch", who=_WHO)
    whole = _life(ledger, "1")
    known = until(whole, then)
    assert (len(known.played), known.read, known.pinches) == (1, 1, 0)
    assert (len(whole.played), whole.read, whole.pinches) == (2, 2, 1)


def test_a_reed_is_foretold_about_where_it_was_read(ledger: Ledger, clock: Clock) -> None:
    for playing in (30.0, 29.0, 28.6, 28.4, 28.3, 28.3):
        _evening(ledger, clock, "1", playing)
    one = reed_foretold(ledger, "1", player="Isla")
    now = one.lines[0].plays_kpa
    assert now.median == pytest.approx(to_kpa(28.3, PressureUnit.INH2O), abs=0.2)
    assert now.high_80 - now.low_80 < to_kpa(3.0, PressureUnit.INH2O)
    assert one.lines[-1].plays_kpa.median <= now.median + 0.05
    assert one.advice is not None
    assert one.advice.what is Keeping.KEEP
    # The control: for one who blows far less, the same reed is not kept.
    set_player(ledger, "Effie", who=_WHO, blows="20 inH2O", ceiling="22 inH2O")
    other = reed_foretold(ledger, "1", player="Effie")
    assert other.advice is not None
    assert other.advice.what is Keeping.SET_ASIDE
    assert other.pinch is not None
    assert other.pinch.advised


def test_from_one_reading_nothing_is_judged(ledger: Ledger, clock: Clock) -> None:
    _evening(ledger, clock, "1", 45.0)
    one = reed_foretold(ledger, "1", player="Isla")
    assert one.advice is not None
    assert one.advice.what is Keeping.HOLD
    assert one.pinch is not None
    assert not one.pinch.advised


def test_of_a_reed_that_may_end_anywhere_nothing_is_promised(ledger: Ledger, clock: Clock) -> None:
    """Two readings of a first reed, falling: it is held; and what no take has heard is not told."""
    for playing in (31.0, 30.4):
        _evening(ledger, clock, "1", playing, minutes=8.0)
    one = reed_foretold(ledger, "1", player="Isla")
    assert one.advice is not None
    assert one.advice.what is Keeping.HOLD
    assert "too little is known" in one.advice.reason
    assert {line.low_a_said for line in one.lines} == {"not heard yet"}


def test_past_three_pinches_none_is_spoken_of(ledger: Ledger, clock: Clock) -> None:
    for _ in range(3):
        ease_reed(ledger, "1", how="pinch", who=_WHO)
        clock.pass_days(5)
    for _ in range(4):
        _evening(ledger, clock, "1", 44.0)
    one = reed_foretold(ledger, "1", player="Isla")
    assert one.pinch is None
    assert "pinch" in one.pinch_refused
    # The control: a reed as strong with no pinch yet is advised one.
    for _ in range(4):
        _evening(ledger, clock, "2", 44.0)
    other = reed_foretold(ledger, "2", player="Isla")
    assert other.pinch is not None
    assert other.pinch.advised


def test_the_lots_other_reeds_teach_a_new_one(ledger: Ledger, clock: Clock) -> None:
    alone = reed_foretold(ledger, "6").lines[-1].plays_kpa
    for number in "12345":
        for playing in (36.0, 35.0, 34.5, 34.2):
            _evening(ledger, clock, number, playing)
    taught = reed_foretold(ledger, "6")
    settled = taught.lines[-1].plays_kpa
    assert taught.taught_by == 5
    assert settled.sd < 0.8 * alone.sd
    assert abs(settled.median - to_kpa(34.0, PressureUnit.INH2O)) < abs(
        alone.median - to_kpa(34.0, PressureUnit.INH2O)
    )
    assert [one.reed.number for one in lot_foretold(ledger, "spring")] == list("123456")


def test_what_is_missing_is_said(ledger: Ledger) -> None:
    one = reed_foretold(ledger, "1")
    assert one.advice is None
    assert [words.split(":")[0] for words in one.missing] == [
        "Whose reed it is",
        "Its strength",
        "What it was played",
    ]


def test_the_command_says_it_in_words_and_json(ledger: Ledger, clock: Clock, tmp_path: Path) -> None:
    _evening(ledger, clock, "1", 30.0)
    _evening(ledger, clock, "1", 29.0)
    at = ["--ledger", str(tmp_path / "ledger.db")]
    said = run("forecast", "1", "--player", "Isla", "--days", "10", *at)
    assert said.exit_code == 0
    assert "in 10 days" in said.output
    assert "For Isla:" in said.output
    told = json.loads(run("forecast", "1", "--json", *at).output)
    assert [line["when"] for line in told["ahead"]] == [
        "now",
        "in 3 days",
        "in 7 days",
        "in 14 days",
        "settled",
    ]
    assert told["ahead"][0]["plays_kpa"]["low_95"] < told["ahead"][0]["plays_kpa"]["low_80"]
    lot = json.loads(run("forecast", "--lot", "spring", "--json", *at).output)
    assert [one["reed"] for one in lot] == list("123456")
    assert "No forecast" in run("forecast", "--kept", *at).output


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        ((), 2, "one reed"),
        (("1", "--lot", "spring"), 2, "one reed"),
        (("--lot", "spring", "--player", "Isla"), 2, "--player"),
        (("77",), 5, "no reed 77"),
        (("1", "--days", "400"), 4, "0 to 180 days"),
        (("1", "--days", "-3"), 4, "0 to 180 days"),
        (("1", "--player", "Isle"), 5, "Isla"),
        (("--lot", "autumn"), 5, "spring"),
    ],
)
def test_what_will_not_do_is_said(
    ledger: Ledger, tmp_path: Path, arguments: tuple[str, ...], code: int, said: str
) -> None:
    del ledger
    result = run("forecast", *arguments, "--ledger", str(tmp_path / "ledger.db"))
    assert result.exit_code == code
    assert said in result.stderr


def test_today_as_the_first_page_has_it(ledger: Ledger, tmp_path: Path) -> None:
    at = ["--ledger", str(tmp_path / "ledger.db")]
    assert "Nothing needs anybody" in run("today", *at).output
    for _ in range(3):
        ease_reed(ledger, "2", how="pinch", who=_WHO)
    assert "no pinch is left" in " ".join(run("today", *at).output.lower().split())
    told = json.loads(run("today", "--json", *at).output)
    assert [(one["reed"], one["kind"]) for one in told["needs"]] == [("2", "pinched out")]


@pytest.mark.parametrize("moment", ["onset", "playing"])
def test_the_reason_is_as_sure_as_the_table(ledger: Ledger, clock: Clock, moment: str) -> None:
    """Read at onset, what it plays at is less sure: in the sentence too, which told the onset's own range."""
    for pressure in (24.0, 23.4, 23.0, 22.8):
        play_reed(ledger, "1", minutes=15.0, who=_WHO)
        log_strength(ledger, "1", {moment: f"{pressure} inH2O"}, who=_WHO)
        clock.pass_days(1.5)
    found = reed_foretold(ledger, "1", player="Isla")
    assert found.advice is not None
    said = re.search(r"settle between (\d+) and (\d+) inH2O", found.advice.reason)
    table = re.search(r"\((\d+) to (\d+)\)", found.lines[-1].plays_said)
    assert said is not None
    assert table is not None
    assert said.groups() == table.groups()
    now = found.lines[0].plays_kpa
    # The share alone, unknown to some 8 in 80, spreads four in five over a quarter.
    assert ((now.high_80 - now.low_80) / now.median > 0.25) == (moment == "onset")


def test_settled_is_what_the_rule_says(ledger: Ledger, clock: Clock) -> None:
    for playing in (30.0, 29.2, 28.8, 28.6, 28.5, 28.4):
        _evening(ledger, clock, "1", playing)
    usual = reed_foretold(ledger, "1")
    strict = reed_foretold(ledger, "1", rule=rule_from("0.1 inH2O", "0.5", 6))
    lenient = reed_foretold(ledger, "1", rule=rule_from("8 inH2O", "60"))
    assert strict.settled_chance < usual.settled_chance < lenient.settled_chance
    assert rule_from() == USUAL_RULE
    assert rule_from("0.2 kPa").onset_kpa == pytest.approx(0.2)
    for onset, low_a, sessions in (("0.5 furlong", "", None), ("-1", "", None), ("", "x", None), ("", "", 0)):
        with pytest.raises(InputError):
            rule_from(onset, low_a, sessions)
