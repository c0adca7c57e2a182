"""`canebench ease`: write down a pinch."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import INSIST, tell, writes


@click.command("ease")
@click.argument("number")
@click.option(
    "--how", type=click.Choice(["pinch", "other"]), default="pinch", show_default=True, help="What was done."
)
@click.option("--remarks", metavar="WORDS", help="Anything else.")
@INSIST
@writes
def command(
    *,
    number: str,
    how: str,
    remarks: str | None,
    insist: bool,
    ledger_url: str | None,
    who: str | None,
    as_json: bool,
) -> None:
    """Write down that the reed NUMBER was eased; one pinch is normal, a fourth in its life is refused."""
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.reeds.reed_days import ease_reed  # noqa: PLC0415

    done = ease_reed(
        the_ledger(ledger_url), number, how=how, who=the_writer(who), remarks=remarks, insist=insist
    )
    tell(done, as_json=as_json)
