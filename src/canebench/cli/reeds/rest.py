"""`canebench rest`: a mouth has tested a reed, which now rests before another mouth may."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import tell, writes
from canebench.cli.options.numbers import NUMBER


@click.command("rest")
@click.argument("number")
@click.option("--player", required=True, metavar="NAME", help="Whose mouth it was.")
@click.option("--hours", type=NUMBER, metavar="H", help="How long it rests: 48 when not given, and at least.")
@writes
def command(
    *, number: str, player: str, hours: float | None, ledger_url: str | None, who: str | None, as_json: bool
) -> None:
    """Write down that PLAYER mouth-tested the reed NUMBER, and until when it rests."""
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.reeds.reed_days import rest_reed  # noqa: PLC0415

    told = {} if hours is None else {"rest_h": hours}
    done = rest_reed(the_ledger(ledger_url), number, player=player, who=the_writer(who), **told)
    tell(done, as_json=as_json)
