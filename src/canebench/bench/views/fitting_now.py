"""Where the fitting of a reed in a chanter stands: its takes, what the last act did, and what comes next.

Guarded by `tests/doors/test_fitting_now.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from canebench.base.scales import DEFAULT_SCALE, scale_named
from canebench.bench.acts.fitting.after_act import AfterAct, after_act
from canebench.bench.acts.fitting.fit_reed import Wish, fitting_of_rows, planned_from
from canebench.bench.acts.ledger import number_of
from canebench.bench.views.kept_take import kept_report
from canebench.reeds import eases

if TYPE_CHECKING:
    from canebench.bench.acts.fitting.fitting import Fitting
    from canebench.bench.acts.fitting.plan_setting import Plan
    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader
    from canebench.store.tables import Row

#: So many fittings' plans are kept at hand: computing one takes a sixth of a second.
_KEPT = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class FittingNow:
    """One fitting as it stands.

    `takes` are its rows, oldest first; `report` is the newest take's. `after` compares it with what was
    predicted (None for a first take), `plan` goes on from it (None without low A and high A). `pinches` are
    those of the reed's whole life.
    """

    reed: Row
    chanter: Row
    player: Row | None
    wish: Wish
    fitting: Fitting
    takes: tuple[Row, ...]
    report: TakeReport | None
    before: TakeReport | None
    after: AfterAct | None
    plan: Plan | None
    pinches: int
    pinches_said: str


class Fittings:
    """Fittings of one ledger, with the newest plans kept at hand; they are computed anew for new takes."""

    def __init__(self, ledger: Ledger) -> None:
        self.ledger = ledger
        self._plans: dict[object, tuple[AfterAct | None, Plan | None]] = {}

    def now(self, reed_id: int, chanter_id: int, wish: Wish | None = None) -> FittingNow:
        """The fitting of that reed in that chanter; `wish` None goes on as the last take was judged."""
        with self.ledger.reading() as reader:
            reed, chanter = reader.row("reeds", reed_id), reader.row("chanters", chanter_id)
            pair = {"reed_id": reed["id"], "chanter_id": chanter["id"]}
            takes = reader.rows("takes", pair, order="at")
            aim = wish or _as_before(takes)
            fitting = fitting_of_rows(reader, reed, chanter, aim)
            reports = [_report(reader, take) for take in takes[-2:]]
            pinched = reader.rows("eases", {"reed_id": reed["id"], "how": "pinch"})
            player = _player(reader, reed, chanter, takes)
        after, plan = self._computed(chanter, takes, aim, fitting)
        return FittingNow(
            reed=reed,
            chanter=chanter,
            player=player,
            wish=aim,
            fitting=fitting,
            takes=tuple(takes),
            report=reports[-1] if reports else None,
            before=reports[-2] if len(reports) > 1 else None,
            after=after,
            plan=plan,
            pinches=len(pinched),
            pinches_said=eases.said(len(pinched)),
        )

    def _computed(
        self, chanter: Row, takes: list[Row], wish: Wish, fitting: Fitting
    ) -> tuple[AfterAct | None, Plan | None]:
        if not fitting.takes:
            return None, None
        key = (
            (chanter["id"], chanter["version"]),
            tuple((take["id"], take["version"]) for take in takes),
            (wish.scale.name, wish.reference_hz, wish.limits),
        )
        if key not in self._plans:
            if len(self._plans) >= _KEPT:
                self._plans.pop(next(iter(self._plans)))
            self._plans[key] = (_after(fitting), planned_from(fitting))
        return self._plans[key]


def _as_before(takes: list[Row]) -> Wish:
    """Scale and reference of the newest take; the usual ones before the first."""
    if not takes:
        return Wish()
    last = takes[-1]
    fixed = last["reference"] == "fixed" and last["reference_hz"] is not None
    return Wish(
        scale=scale_named(str(last["scale"])) if last["scale"] else DEFAULT_SCALE,
        reference_hz=float(last["reference_hz"] or 0.0) if fixed else None,
    )


def _report(reader: Reader, take: Row) -> TakeReport | None:
    return kept_report(take, reader.rows("pitches", {"take_id": take["id"]}))


def _player(reader: Reader, reed: Row, chanter: Row, takes: list[Row]) -> Row | None:
    for row in (*takes[::-1][:1], reed, chanter):
        if row["player_id"] is not None:
            return reader.row("players", number_of(row, "player_id"))
    return None


def _after(fitting: Fitting) -> AfterAct | None:
    """The newest take beside what the ones before it predicted."""
    if len(fitting.takes) < 2:
        return None
    return after_act(replace(fitting, takes=fitting.takes[:-1]), fitting.takes[-1])
