"""`canebench move`: move a reed to another state, with the reason."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import print_json, writes
from canebench.cli.text.words import paragraph, show, width


@click.command(
    "move",
    epilog="Example: canebench move 7 retired --reason 'chip in the lower blade'",
)
@click.argument("number")
@click.argument("state")
@click.option("--reason", required=True, metavar="WORDS", help="Why, in a few words.")
@writes
def command(
    *, number: str, state: str, reason: str, ledger_url: str | None, who: str | None, as_json: bool
) -> None:
    """Move the reed NUMBER to STATE: on trial, breaking in, settled, spare, set aside or retired."""
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.reeds.stock import move_reed  # noqa: PLC0415

    before, after = move_reed(the_ledger(ledger_url), number, to=state, reason=reason, who=the_writer(who))
    if as_json:
        print_json({"reed": number, "before": before, "after": after})
        return
    show(paragraph(f"Reed {number}: {before} before, {after} now.", columns=width()))
