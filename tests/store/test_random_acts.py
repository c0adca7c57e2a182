"""Whatever is done, in whatever order, both databases hold the same after it and say the same on the way."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Any, Final

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from canebench.base.errors import CanebenchError
from canebench.store.engine import open_database
from canebench.store.ledger import Ledger
from canebench.store.records import RECORDS, STATES, LotRecord, ReedRecord
from canebench.store.tables import TABLES
from support.ledgers import Clock, amiss_of, dump_of, take_in

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.store.reader import AnyRecord
    from canebench.store.writer import Writer

_WHICH: Final = st.integers(0, 7)
_NAMES: Final = st.sampled_from(["spring", "autumn", "Öl", "", "a b"])
_WHO: Final = "Ailsa"


def _one(act: Writer, record: type[AnyRecord], which: int, *, removed: bool = False) -> AnyRecord:
    """A row of those there are; one that is nowhere where there is none."""
    found = act.rows(record, removed=removed)
    if found:
        return found[which % len(found)]
    nothing: dict[str, Any] = dict.fromkeys(field.name for field in fields(record))
    return record(**{**nothing, "id": 999, "version": 1})


class Acts(RuleBasedStateMachine):
    """The same acts on both; each either succeeds on both or is refused on both with the same sentence."""

    fresh: Callable[[str], str]

    def __init__(self) -> None:
        super().__init__()
        self.clocks = [Clock(), Clock()]
        self.ledgers = [
            Ledger(open_database(self.fresh(dialect)), clock=clock)
            for dialect, clock in zip(("sqlite", "postgresql"), self.clocks, strict=True)
        ]
        self.stale: list[list[ReedRecord]] = [[], []]

    def both(self, act: Callable[[Ledger], object]) -> None:
        """Do it on both; what each said is the same."""
        said = []
        for ledger in self.ledgers:
            try:
                said.append(f"done: {act(ledger)}")
            except CanebenchError as error:
                said.append(f"{type(error).__name__}: {error}")
        assert said[0] == said[1]

    @rule(name=_NAMES, count=st.integers(1, 3))
    def buy(self, name: str, count: int) -> None:
        """A lot with its reeds, whose names may be taken."""
        self.both(lambda ledger: take_in(ledger, name, count=count))

    @rule(which=_WHICH, state=st.sampled_from(STATES), twice=st.booleans())
    def move(self, which: int, state: str, twice: bool) -> None:
        """Another state, told once or twice in one act."""

        def do(ledger: Ledger) -> None:
            with ledger.act("move", who=_WHO, said=state) as act:
                for _ in range(1 + twice):
                    reed = _one(act, ReedRecord, which)
                    act.update(reed, {"state": state, "state_since": act.at})

        self.both(do)

    @rule(which=_WHICH)
    def read(self, which: int) -> None:
        """Remember a row, to change it later as it is now."""
        for ledger, stale in zip(self.ledgers, self.stale, strict=True):
            with ledger.reading() as reader:
                rows = reader.rows(ReedRecord)
            if rows:
                stale.append(rows[which % len(rows)])

    @rule(which=_WHICH, remarks=st.text(st.characters(exclude_categories=["Cs"]), max_size=5))
    def change_what_was_read(self, which: int, remarks: str) -> None:
        """A change of what was read some acts ago."""

        def do(ledger: Ledger) -> None:
            stale = self.stale[self.ledgers.index(ledger)]
            if stale:
                read = stale[which % len(stale)]
                with ledger.act("remark", who=_WHO, said="x") as act:
                    act.update(read, {"remarks": remarks})

        self.both(do)

    @rule(which=_WHICH, lot=_WHICH, free=st.booleans())
    def move_to_another_lot(self, which: int, lot: int, free: bool) -> None:
        """Into no lot, another, or one in the bin."""

        def do(ledger: Ledger) -> None:
            with ledger.act("lot", who=_WHO, said="x") as act:
                reed = _one(act, ReedRecord, which)
                to = None if free else _one(act, LotRecord, lot, removed=lot > 5).id
                act.update(reed, {"lot_id": to})

        self.both(do)

    @rule(which=_WHICH, minutes=st.floats(0, 1500))
    def play(self, which: int, minutes: float) -> None:
        """A spell of playing, sometimes too long a one."""

        def do(ledger: Ledger) -> int:
            with ledger.act("play", who=_WHO, said="x") as act:
                reed = _one(act, ReedRecord, which)
                return act.insert("plays", {"reed_id": reed.id, "at": act.at, "minutes": minutes})

        self.both(do)

    @rule(which=_WHICH, table=st.sampled_from(["lots", "reeds", "plays"]))
    def remove(self, which: int, table: str) -> None:
        """Into the bin, if nothing refers to it."""

        def do(ledger: Ledger) -> None:
            with ledger.act("remove", who=_WHO, said="x") as act:
                act.remove(_one(act, RECORDS[table], which))

        self.both(do)

    @rule(back=_WHICH)
    def undo(self, back: int) -> None:
        """Undo one of the last acts, an undoing too."""

        def do(ledger: Ledger) -> int:
            with ledger.reading() as reader:
                acts = reader.history(limit=back + 1)
            return ledger.undo(acts[-1].id if acts else 999, who=_WHO)

        self.both(do)

    @rule(days=st.sampled_from([0, 20, 40]))
    def empty_bin(self, days: int) -> None:
        """Let days go by; empty the bin."""
        for clock in self.clocks:
            clock.pass_days(days)
        self.both(lambda ledger: ledger.empty_bin(who=_WHO))

    @invariant()
    def nothing_outside_the_bin_refers_into_it(self) -> None:
        """Every reference leads to a row outside the bin."""
        with self.ledgers[0].reading() as reader:
            rows = {name: reader.raw_rows(TABLES[name]) for name in ("lots", "reeds", "plays")}
            there = {name: {row["id"] for row in rows[name]} for name in ("lots", "reeds")}
            for name in ("reeds", "plays"):
                for column in TABLES[name].columns:
                    if column.refers in there:
                        wanted = {row[column.name] for row in rows[name]} - {None}
                        assert wanted <= there[column.refers]

    def teardown(self) -> None:
        """Both hold the same, and each row as the acts tell of it."""
        dumps = [dump_of(ledger) for ledger in self.ledgers]
        assert dumps[0] == dumps[1]
        assert [amiss_of(ledger) for ledger in self.ledgers] == [[], []]


def _run(machine: type[Acts], fresh: Callable[[str], str], *, examples: int) -> None:
    bound = type(machine.__name__, (machine,), {"fresh": staticmethod(fresh)})
    run_state_machine_as_test(
        bound,
        settings=settings(
            max_examples=examples,
            stateful_step_count=30,
            deadline=None,
            database=None,
            suppress_health_check=list(HealthCheck),
            phases=[Phase.generate],
        ),
    )


def test_a_random_sequence_of_acts_leaves_equal_ledgers(fresh: Callable[[str], str]) -> None:
    _run(Acts, fresh, examples=15)


class Forgetful(Acts):
    """A fault: the second ledger loses what is bought in lots of three."""

    @rule(name=_NAMES)
    def buy_three(self, name: str) -> None:
        """Only the first ledger hears of it."""
        try:
            take_in(self.ledgers[0], name, count=3)
        except CanebenchError:
            return


def test_control_a_ledger_that_forgets_is_caught(fresh: Callable[[str], str]) -> None:
    with pytest.raises(AssertionError):
        _run(Forgetful, fresh, examples=10)
