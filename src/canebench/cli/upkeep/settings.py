"""`canebench settings`: what a band or workshop settles once, shown and changed."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import begins, print_json
from canebench.cli.text.words import labelled, paragraph, show, width


@click.command(
    "settings",
    epilog="Example: canebench settings --pitch 478 --pressure inH2O --zone Europe/London",
)
@click.option("--name", metavar="WORDS", help="What the band or the workshop is called.")
@click.option(
    "--pitch", metavar="drones|HERTZ", help="The pitch of low A: a fixed one, or from the drones [drones]."
)
@click.option("--scale", metavar="NAME", help="The target scale: canebench scales [harmonic].")
@click.option(
    "--pressure", metavar="UNIT", help="What a pressure without a unit is in: inH2O, mbar or kPa [none]."
)
@click.option("--zone", metavar="NAME", help="Whose clock: Europe/London, … [this machine's].")
@click.option("--chanter", metavar="NAME", help="The usual chanter [that of the last fitting].")
@click.option("--player", metavar="NAME", help="The usual player [that of the last fitting].")
@click.option("--paper", metavar="A4|Letter", help="What labels are printed on [A4].")
@click.option("--sessions", metavar="MINUTES", help="Of a reed's sessions of breaking in: '5, 5, 8, 10'.")
@click.option("--rest", metavar="HOURS", help="How long a reed rests after each [20].")
@click.option("--settled-onset", metavar="PRESSURE", help="Settled: onset moves by less [0.5 inH2O].")
@click.option("--settled-low-a", metavar="CENTS", help="Settled: low A moves by less [3].")
@click.option("--settled-sessions", metavar="N", help="Settled: over so many sessions [3].")
@begins
def command(*, ledger_url: str | None, who: str | None, as_json: bool, **told: str | None) -> None:
    """Show what is settled for this band or workshop, or settle what is told; '' settles it no more."""
    from canebench.bench.acts.band import settle  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415
    from canebench.bench.views.home.settled import settled  # noqa: PLC0415

    ledger = the_ledger(ledger_url)
    given = {name: text for name, text in told.items() if text is not None}
    if given:
        settle(ledger, given, who=the_writer(who))
    found = settled(ledger)
    if as_json:
        # What is absent is null, and a pitch is a number.
        values: dict[str, object] = {name: value or None for name, value in found.values.items()}
        print_json({**values, "pitch": found.low_a_hz})
        return
    columns = width()
    for label, said in found.said:
        show(labelled(label, said, columns=columns, indent=16))
    if not given and not found.told:
        show("\n" + paragraph("Nothing is settled yet: canebench settings --help", columns=columns))
