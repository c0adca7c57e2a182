"""`canebench player`: a player's strength and ceiling, or the list of players."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import begins, print_json
from canebench.cli.text.words import show, table, width


@click.command(
    "player",
    epilog="Example: canebench player Morag --blows '28 inH2O' --ceiling '32 inH2O'",
)
@click.argument("name", required=False)
@click.option(
    "--blows", metavar="PRESSURE", help="What the player blows now, with its unit: 28 inH2O, 7 kPa."
)
@click.option(
    "--ceiling", metavar="PRESSURE", help="What the player will not blow past; above what they blow."
)
@begins
def command(
    *,
    name: str | None,
    blows: str | None,
    ceiling: str | None,
    ledger_url: str | None,
    who: str | None,
    as_json: bool,
) -> None:
    """Add the player NAME, or change what is known of them. Without NAME, list the players."""
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.reeds.people import list_players, set_player  # noqa: PLC0415

    ledger = the_ledger(ledger_url)
    if name is not None:
        rows = [set_player(ledger, name, who=the_writer(who), blows=blows, ceiling=ceiling)]
    else:
        rows = list_players(ledger)
    if as_json:
        print_json(rows)
        return
    shown = [(row.name, _kpa(row.blows_kpa), _kpa(row.ceiling_kpa)) for row in rows]
    show(
        table(("player", "blows kPa", "ceiling kPa"), shown, columns=width()) if shown else "No player yet.\n"
    )


def _kpa(value: float | None) -> str:
    return "–" if value is None else f"{value:.2f}"
