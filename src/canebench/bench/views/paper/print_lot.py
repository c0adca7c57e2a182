"""Print what a lot was worth, on A4 or Letter: a sheet or two for most lots, more where there are many reeds.

Guarded by `tests/doors/test_lot_report.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from canebench.base.clock.local_time import day_said
from canebench.base.uncertain import number
from canebench.base.whole_file import write_whole
from canebench.bench.acts.band import band_defaults
from canebench.bench.views.ahead.lot_chart import draw_lot, drawn_said, lot_described
from canebench.bench.views.ahead.lot_words import facts_said
from canebench.bench.views.paper.typeset import PAPER_NAMES, for_print, shortened, typeset_pdf

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.bench.acts.band import BandDefaults
    from canebench.bench.views.ahead.lot_worth import LotWorth
    from canebench.store.ledger import Ledger

TEMPLATE: Final = "lot.typ"
_NAME, _SENTENCE = 60, 300


def print_lot(ledger: Ledger, found: LotWorth, path: Path) -> None:
    """Write the report as PDF, whole or not at all, on the paper that is settled."""
    band, printed = band_defaults(ledger), ledger.clock()
    data = report_data(found, band, printed_on=day_said(printed, band.zone))
    write_whole(path, typeset_pdf(TEMPLATE, data), field="print")


def report_data(found: LotWorth, band: BandDefaults, *, printed_on: str) -> dict[str, Any]:
    """What the template is given; names and reasons are bounded, so that no row fills a sheet."""
    worth, against = found.worth, found.against
    chart = draw_lot(worth)
    others = (None,) * len(worth.figures) if against is None else against.figures
    return {
        "paper": PAPER_NAMES[band.paper],
        "lot": shortened(worth.lot.name, _NAME),
        "against": None if against is None else shortened(against.lot.name, _NAME),
        "facts": shortened(facts_said(worth.lot), _SENTENCE),
        "printed": printed_on,
        "band": shortened(band.name, _NAME),
        "figures": [
            [figure.name, figure.said, None if other is None else other.said]
            for figure, other in zip(worth.figures, others, strict=True)
        ],
        "beside": list(found.beside),
        "order": None if found.proposal is None else list(found.proposal.said),
        "chart": None if chart is None else for_print(chart),
        "drawn": None if chart is None else drawn_said(worth),
        "described": None if chart is None else lot_described(worth),
        "reeds": [
            [
                shortened(fate.reed.number, _NAME),
                fate.said,
                f"{number(fate.minutes, 0)} min" if fate.minutes else "–",
                f"{number(fate.break_in_min, 0)} min" if fate.break_in_min else "–",
                shortened(fate.reed.state_reason or "–", _SENTENCE),
            ]
            for fate in worth.fates
        ],
    }
