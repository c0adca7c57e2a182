"""`canebench card`: print a reed's setting card."""

from __future__ import annotations

from pathlib import Path

import click

from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.text.words import paragraph, show, width


@click.command(
    "card",
    epilog="Example: canebench card 7 --out reed7.pdf",
)
@click.argument("number")
@click.option(
    "--out", required=True, type=click.Path(path_type=Path), metavar="FILE.pdf", help="The PDF to write."
)
@reads
def command(*, number: str, out: Path, ledger_url: str | None, as_json: bool) -> None:
    """Write the card of the reed with NUMBER on its binding: setting, tape, balance, strength, wear."""
    from canebench.bench.acts.ledger import the_ledger  # noqa: PLC0415 - help need not wait
    from canebench.bench.views.paper.print_card import print_card  # noqa: PLC0415

    card = print_card(the_ledger(ledger_url), number, out)
    if as_json:
        print_json(card)
        return
    show(paragraph(f"Wrote the card of reed {card.number}: {out}", columns=width()))
