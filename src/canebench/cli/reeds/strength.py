"""`canebench strength`: write down how strong a reed is."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import INSIST, tell, writes


@click.command(
    "strength",
    epilog="Example: canebench strength 7 --onset '24 inH2O' --playing '28 inH2O' --choke '36 inH2O'",
)
@click.argument("number")
@click.option(
    "--onset", metavar="PRESSURE", help="Where it begins to sound, with the unit: 24 inH2O, 60 mbar."
)
@click.option("--playing", metavar="PRESSURE", help="Where it plays well.")
@click.option("--dropout", metavar="PRESSURE", help="Where it falls silent again.")
@click.option("--choke", metavar="PRESSURE", help="Where it shuts or doubles.")
@click.option("--player", metavar="NAME", help="Who blew it.")
@click.option(
    "--by-mouth", metavar="WORDS", help="easier, same, a little stronger, much stronger; with --than."
)
@click.option("--than", metavar="NUMBER", help="The reed it was compared with by mouth.")
@INSIST
@writes
def command(
    *,
    number: str,
    player: str | None,
    by_mouth: str | None,
    than: str | None,
    insist: bool,
    ledger_url: str | None,
    who: str | None,
    as_json: bool,
    **pressures: str | None,
) -> None:
    """Write down the strength of the reed NUMBER: pressures, or how it compares by mouth."""
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.reeds.reed_days import log_strength  # noqa: PLC0415

    given = {moment: text for moment, text in pressures.items() if text is not None}
    done = log_strength(
        the_ledger(ledger_url),
        number,
        given,
        who=the_writer(who),
        player=player,
        by_mouth=by_mouth,
        than=than,
        insist=insist,
    )
    tell(done, as_json=as_json)
