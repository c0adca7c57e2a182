"""`canebench lot`: take in a lot of reeds, or list the lots."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import begins, print_json
from canebench.cli.options.numbers import COUNT, NUMBER
from canebench.cli.text.words import paragraph, show, table, width


@click.command(
    "lot",
    epilog="Example: canebench lot 'spring' --count 30 --bought 2026-03-02 --cane 'Var, medium'",
)
@click.argument("name", required=False)
@click.option("--count", type=COUNT, metavar="N", help="How many reeds; they are numbered on from the last.")
@click.option("--first", type=COUNT, metavar="N", help="The number of the first reed instead.")
@click.option("--bought", "bought_on", metavar="DATE", help="When, like 2026-03-02.")
@click.option("--price", type=NUMBER, metavar="AMOUNT", help="What the lot cost.")
@click.option("--currency", metavar="CODE", help="In which money.")
@click.option("--cane", metavar="WORDS", help="The cane, in your own words.")
@click.option("--cut", metavar="WORDS", help="The cut, in your own words.")
@click.option("--remarks", metavar="WORDS", help="Anything else.")
@begins
def command(
    *,
    name: str | None,
    count: int | None,
    first: int | None,
    ledger_url: str | None,
    who: str | None,
    as_json: bool,
    **told: str | float | None,
) -> None:
    """Take in the lot NAME: one line for all its reeds. Without NAME, list the lots."""
    if (name is None) != (count is None):
        raise click.UsageError("A lot needs a name and --count.", ctx=click.get_current_context())
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.reeds.stock import list_lots, take_in_lot  # noqa: PLC0415

    ledger = the_ledger(ledger_url)
    if name is None or count is None:
        lots = list_lots(ledger)
        if as_json:
            print_json(lots)
            return
        rows = [(one.name, str(one.count), one.bought_on or "–", one.cane or "–") for one in lots]
        show(
            table(("lot", "reeds", "bought", "cane"), rows, columns=width(), words=True)
            if rows
            else "No lot yet.\n"
        )
        return
    numbers = take_in_lot(ledger, who=the_writer(who), name=name, count=count, first=first, **told)
    if as_json:
        print_json({"lot": name, "numbers": numbers})
        return
    said = (
        f"{count} reeds of the lot {name}: numbers {numbers[0]} to {numbers[-1]}. Write each on the binding."
    )
    show(paragraph(said, columns=width()))
