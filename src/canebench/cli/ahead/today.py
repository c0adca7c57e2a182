"""`canebench today`: what needs somebody today."""

from __future__ import annotations

import click

from canebench.base.sentences import capitalized
from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.text.words import labelled, show, width


@click.command("today")
@reads
def command(*, ledger_url: str | None, as_json: bool) -> None:
    """List what needs somebody today: fittings begun, rests over, sessions due, eases not heard.

    A reed that is being broken in is due once it has rested; how long is common practice, its minutes an
    estimate.
    """
    from canebench.bench.acts.ledger import the_ledger  # noqa: PLC0415 - help need not wait
    from canebench.bench.views.home.today import today  # noqa: PLC0415

    found = today(the_ledger(ledger_url))
    going = found.going
    if as_json:
        print_json(
            {
                "going": None
                if going is None
                else {"reed": going.reed.number, "chanter": going.chanter.name, "at": going.at},
                "needs": [
                    {
                        "reed": need.reed.number,
                        "kind": need.kind,
                        "why": need.why,
                        "minutes": need.minutes,
                        "player": need.player or None,
                    }
                    for need in found.needs
                ],
            }
        )
        return
    if going is not None:
        said = f"Go on with reed {going.reed.number} in {going.chanter.name}."
        show(labelled("Now", said, columns=width()))
    for need in found.needs:
        show(labelled(need.reed.number, f"{capitalized(need.why)}.", columns=width()))
    if going is None and not found.needs:
        show("Nothing needs anybody today.\n")
