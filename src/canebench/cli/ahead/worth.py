"""`canebench worth`: how a lot turned out, and what to order."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.options.numbers import COUNT
from canebench.cli.text.words import labelled, paragraph, show, table, width

if TYPE_CHECKING:
    from canebench.bench.views.ahead.lot_worth import LotWorth, Worth


@click.command(
    "worth",
    epilog="Example: canebench worth spring --against autumn --need 12 --by 2026-09-01",
)
@click.argument("lot")
@click.option("--against", metavar="LOT", help="Another lot, to stand beside it.")
@click.option("--need", "needed", type=COUNT, metavar="N", help="Settled reeds needed: say what to order.")
@click.option("--by", metavar="DATE", help="When they are needed, like 2026-09-01.")
@click.option("--post", "post_days", type=COUNT, metavar="N", help="Days from order to box; 14 else.")
@click.option(
    "--pdf", type=click.Path(path_type=Path), metavar="FILE.pdf", help="Write it as a report to print too."
)
@reads
def command(
    *,
    lot: str,
    against: str | None,
    needed: int | None,
    by: str | None,
    post_days: int | None,
    pdf: Path | None,
    ledger_url: str | None,
    as_json: bool,
) -> None:
    """Say how the lot LOT turned out: yield, life, spread, minutes of breaking in and cost.

    With intervals, and with what so few reeds can tell.
    """
    if needed is None and (by is not None or post_days is not None):
        raise click.UsageError("--by and --post go with --need N: how many settled reeds are needed.")
    from canebench.bench.acts.ledger import the_ledger  # noqa: PLC0415 - help need not wait
    from canebench.bench.views.ahead.lot_worth import POST_DAYS, lot_worth  # noqa: PLC0415

    ledger = the_ledger(ledger_url)
    found = lot_worth(
        ledger,
        lot,
        against=against,
        needed=needed,
        by=by,
        post_days=POST_DAYS if post_days is None else post_days,
    )
    if pdf is not None:
        from canebench.bench.views.paper.print_lot import print_lot  # noqa: PLC0415

        print_lot(ledger, found, pdf)
    if as_json:
        print_json(_finite(_plain(found)))
        return
    _show(found)
    if pdf is not None:
        show("\n" + paragraph(f"Wrote the report of lot {found.worth.lot.name}: {pdf}", columns=width()))


def _show(found: LotWorth) -> None:
    for one in (found.worth, found.against):
        if one is not None:
            show(paragraph(f"Lot {one.lot.name}", columns=width()))
            for figure in one.figures:
                show(labelled(figure.name, figure.said, columns=width(), indent=15))
            show("\n")
    if found.beside:
        show(labelled("Side by side", " ".join(found.beside), columns=width(), indent=15))
    if found.proposal is not None:
        show(labelled("To order", " ".join(found.proposal.said), columns=width(), indent=15))
    if found.against is None:
        rows = [
            (
                fate.reed.number,
                fate.said,
                f"{fate.minutes:.0f} min" if fate.minutes else "",
                fate.reed.state_reason or "",
            )
            for fate in found.worth.fates
        ]
        show("\n" + table(("reed", "counts as", "played", "why"), rows, columns=width(), words=True))


def _plain(found: LotWorth) -> dict[str, object]:
    proposal = found.proposal
    return {
        "lot": _lot(found.worth),
        "against": None if found.against is None else _lot(found.against),
        "comparison": None if found.comparison is None else asdict(found.comparison) | {"said": found.beside},
        "order": None
        if proposal is None
        else {
            "needed": proposal.needed,
            "by": None if proposal.by is None else proposal.by.isoformat(),
            "in_stock": proposal.in_stock,
            "days_ahead": proposal.days_ahead,
            "reeds": proposal.order.reeds,
            "cautious": proposal.order.cautious,
            "chance": proposal.order.chance,
            "order_by": None if proposal.order.order_by is None else proposal.order.order_by.isoformat(),
            "said": proposal.said,
        },
    }


def _lot(worth: Worth) -> dict[str, object]:
    return asdict(worth.outcome) | {
        "currency": worth.lot.currency,
        "said": {figure.name: figure.said for figure in worth.figures},
        "each": [
            {
                "reed": fate.reed.number,
                "settled": fate.settled,
                "worn_out": fate.worn_out,
                "minutes": fate.minutes,
                "break_in_min": fate.break_in_min,
                "days": fate.days,
                "onset_kpa": fate.onset_kpa,
            }
            for fate in worth.fates
        ],
    }


def _finite(value: object) -> object:
    """The same with nothing where there is no number, or an endless one: JSON has neither."""
    if isinstance(value, dict):
        return {key: _finite(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(one) for one in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
