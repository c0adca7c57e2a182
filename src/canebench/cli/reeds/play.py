"""`canebench play`: write down minutes of playing, and how strong the reed is after them."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import INSIST, tell, writes
from canebench.cli.options.numbers import NUMBER
from canebench.cli.options.room_options import in_room
from canebench.cli.options.strength_options import compared


@click.command(
    "play",
    epilog="Example: canebench play 7 --minutes 12 --playing '26 inH2O' --room-degc 18 --room-rh 55",
)
@click.argument("number")
@click.option("--minutes", type=NUMBER, required=True, metavar="MIN", help="How long.")
@click.option(
    "--level", "level_dba", type=NUMBER, metavar="DB", help="How loud at the ear, dB(A), if measured."
)
@in_room
@click.option("--player", metavar="NAME", help="Who played it.")
@click.option("--playing", metavar="PRESSURE", help="What it plays at after that, with the unit: 26 inH2O.")
@compared
@click.option("--remarks", metavar="WORDS", help="Anything else.")
@INSIST
@writes
def command(
    *,
    number: str,
    minutes: float,
    player: str | None,
    playing: str | None,
    by_mouth: str | None,
    than: str | None,
    insist: bool,
    ledger_url: str | None,
    who: str | None,
    as_json: bool,
    **told: float | str | None,
) -> None:
    """Write down that the reed NUMBER was played, and in the same act how strong it is after."""
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.reeds.reed_days import TypedStrength, play_reed  # noqa: PLC0415

    done = play_reed(
        the_ledger(ledger_url),
        number,
        minutes=minutes,
        who=the_writer(who),
        player=player,
        after=TypedStrength(
            pressures={} if playing is None else {"playing": playing}, by_mouth=by_mouth, than=than
        ),
        insist=insist,
        **told,
    )
    tell(done, as_json=as_json)
