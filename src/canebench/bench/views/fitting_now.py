"""Where the fitting of a reed in a chanter stands: its takes, what the last act did, and what comes next.

Guarded by `tests/doors/test_fitting_now.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from canebench.bench.acts.fitting.after_act import AfterAct, after_act
from canebench.bench.acts.fitting.fit_reed import fitting_of_rows
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.may_fit import stands_against
from canebench.bench.acts.fitting.one_round import planned_from
from canebench.bench.views.kept_take import kept_report
from canebench.reeds import eases
from canebench.store.records import (
    ChanterRecord,
    PitchRecord,
    PlayerRecord,
    ReedRecord,
    TakeRecord,
)

if TYPE_CHECKING:
    from canebench.bench.acts.fitting.fitting import Fitting
    from canebench.bench.acts.fitting.plan_setting import Plan
    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.fitting.acts import NextAct
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader

#: So many fittings' plans are kept at hand: computing one takes a sixth of a second.
_KEPT = 64
_NOTHING: Final = FitRequest()


@dataclass(frozen=True, slots=True, kw_only=True)
class FittingNow:
    """One fitting as it stands.

    `takes` are its rows, oldest first; `report` is the newest take's. `after` compares it with what was
    predicted (None for a first take), `plan` goes on from it (None without low A and high A). `pinches` are
    those of the reed's whole life. `against` is what stands against it, as `stands_against` has it.
    """

    reed: ReedRecord
    chanter: ChanterRecord
    player: PlayerRecord | None
    fitting: Fitting
    takes: tuple[TakeRecord, ...]
    report: TakeReport | None
    before: TakeReport | None
    after: AfterAct | None
    plan: Plan | None
    pinches: int
    pinches_said: str
    against: tuple[str, ...]

    @property
    def next_act(self) -> NextAct | None:
        """The one next act: the plan's, or what the take itself asks for where it comes to no plan."""
        if self.report is None:
            return None
        return self.report.next_act if self.plan is None else self.plan.next_act


class Fittings:
    """Fittings of one ledger, with the newest plans kept at hand; they are computed anew for new takes."""

    def __init__(self, ledger: Ledger) -> None:
        self.ledger = ledger
        self._plans: dict[object, tuple[AfterAct | None, Plan | None]] = {}

    def now(self, reed_id: int, chanter_id: int, request: FitRequest = _NOTHING) -> FittingNow:
        """The fitting of that reed in that chanter; what is not asked for is as its last take was judged."""
        with self.ledger.reading() as reader:
            reed, chanter = reader.row(ReedRecord, reed_id), reader.row(ChanterRecord, chanter_id)
            pair = {"reed_id": reed.id, "chanter_id": chanter.id}
            takes = reader.rows(TakeRecord, pair, order="at")
            fitting = request.on(fitting_of_rows(reader, reed.id, chanter))
            reports = [_report(reader, take) for take in takes[-2:]]
            player = _player(reader, reed, chanter, takes)
            name = None if player is None else player.name
            against = stands_against(reader, reed, name, self.ledger.clock())
        after, plan = self._computed(chanter, takes, fitting, reports[-1] if reports else None)
        return FittingNow(
            reed=reed,
            chanter=chanter,
            player=player,
            fitting=fitting,
            takes=tuple(takes),
            report=reports[-1] if reports else None,
            before=reports[-2] if len(reports) > 1 else None,
            after=after,
            plan=plan,
            pinches=fitting.pinched,
            pinches_said=eases.said(fitting.pinched),
            against=against,
        )

    def _computed(
        self, chanter: ChanterRecord, takes: list[TakeRecord], fitting: Fitting, report: TakeReport | None
    ) -> tuple[AfterAct | None, Plan | None]:
        if not fitting.takes:
            return None, None
        key = (
            (chanter.id, chanter.version),
            tuple((take.id, take.version) for take in takes),
            (fitting.scale.name, fitting.reference_hz, fitting.limits, fitting.hemp, fitting.pinched),
        )
        if key not in self._plans:
            if len(self._plans) >= _KEPT:
                self._plans.pop(next(iter(self._plans)))
            self._plans[key] = (_after(fitting), planned_from(fitting, report))
        return self._plans[key]


def _report(reader: Reader, take: TakeRecord) -> TakeReport | None:
    return kept_report(take, reader.rows(PitchRecord, {"take_id": take.id}))


def _player(
    reader: Reader, reed: ReedRecord, chanter: ChanterRecord, takes: list[TakeRecord]
) -> PlayerRecord | None:
    told = (*(take.player_id for take in takes[-1:]), reed.player_id, chanter.player_id)
    found = next((one for one in told if one is not None), None)
    return None if found is None else reader.row(PlayerRecord, found)


def _after(fitting: Fitting) -> AfterAct | None:
    """The newest take beside what the ones before it predicted."""
    if len(fitting.takes) < 2:
        return None
    return after_act(replace(fitting, takes=fitting.takes[:-1]), fitting.takes[-1])
