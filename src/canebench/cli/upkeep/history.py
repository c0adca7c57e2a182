"""`canebench history`: what was done, by whom and when."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.options.numbers import Count
from canebench.cli.text.words import show, table


@click.command("history")
@click.option(
    "--last", type=Count(1, 10_000), default=20, show_default=True, metavar="N", help="How many acts."
)
@reads
def command(*, last: int, ledger_url: str | None, as_json: bool) -> None:
    """List the newest acts; each has a number that "canebench undo" takes."""
    from canebench.base.clock.local_time import time_said  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.band import zone_of  # noqa: PLC0415
    from canebench.bench.acts.ledger import the_ledger  # noqa: PLC0415

    with the_ledger(ledger_url).reading() as reader:
        acts, zone = reader.history(limit=last), zone_of(reader)
    if as_json:
        print_json(acts)
        return
    rows = [
        (
            str(act.id),
            time_said(act.at, zone),
            act.who,
            act.said + (f" (undone by {act.undone_by})" if act.undone_by else ""),
        )
        for act in acts
    ]
    show(
        table(("act", "when", "who", "what"), rows, columns=200, words=True)
        if rows
        else "Nothing was done yet.\n"
    )
