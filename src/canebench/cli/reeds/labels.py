"""`canebench labels`: print labels for reeds."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.options.numbers import COUNT
from canebench.cli.options.only import LOT, STATE
from canebench.cli.text.words import paragraph, show, width

if TYPE_CHECKING:
    from canebench.bench.acts.band import PaperName


@click.command(
    "labels",
    epilog="Example: canebench labels --lot spring --out labels.pdf",
)
@LOT
@STATE
@click.option(
    "--out", required=True, type=click.Path(path_type=Path), metavar="FILE.pdf", help="The PDF to write."
)
@click.option(
    "--columns", type=COUNT, default=5, show_default=True, metavar="N", help="Labels side by side, up to 7."
)
@click.option(
    "--rows", type=COUNT, default=13, show_default=True, metavar="N", help="Labels down the sheet, up to 22."
)
@click.option("--paper", type=click.Choice(["A4", "Letter"]), help="The sheet [the one settled, else A4].")
@reads
def command(
    *,
    lot: str | None,
    state: str | None,
    out: Path,
    columns: int,
    rows: int,
    paper: PaperName | None,
    ledger_url: str | None,
    as_json: bool,
) -> None:
    """Write sheets of labels for the reeds of a lot or state, or for all of them."""
    from canebench.bench.acts.band import band_defaults  # noqa: PLC0415
    from canebench.bench.acts.ledger import the_ledger  # noqa: PLC0415 - help need not wait
    from canebench.bench.views.paper.print_labels import Grid, print_labels  # noqa: PLC0415

    ledger = the_ledger(ledger_url)
    grid = Grid(columns=columns, rows=rows, paper=paper or band_defaults(ledger).paper)
    count = print_labels(ledger, out, lot=lot, state=state, grid=grid)
    if as_json:
        print_json({"labels": count, "out": str(out)})
        return
    plural = "label" if count == 1 else "labels"
    show(paragraph(f"Wrote {count} {plural}, {columns} by {rows} to a sheet: {out}", columns=width()))
