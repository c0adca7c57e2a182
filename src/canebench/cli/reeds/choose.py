"""`canebench choose`: which reeds suit a player now."""

from __future__ import annotations

import math

import click

from canebench.base.sentences import capitalized
from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.options.only import LOT
from canebench.cli.text.words import labelled, paragraph, show, width


@click.command("choose")
@click.argument("player", required=False)
@LOT
@reads
def command(*, player: str | None, lot: str | None, ledger_url: str | None, as_json: bool) -> None:
    """Judge the reeds for PLAYER: a little above what they blow now, never above their ceiling.

    Without PLAYER it is the usual player, or that of the last fitting.
    """
    from canebench.bench.acts.band import band_defaults  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.ledger import the_ledger  # noqa: PLC0415
    from canebench.bench.acts.reeds.choose_reeds import choose_for  # noqa: PLC0415

    ledger = the_ledger(ledger_url)
    chosen = player or band_defaults(ledger).player
    if chosen is None:
        raise click.UsageError("Say for whom: no player is settled, and nothing was fitted yet.")
    if player is None:
        show(paragraph(f"For {chosen}.", columns=width()), err=True)
    found = choose_for(ledger, chosen, lot=lot)
    if as_json:
        print_json(
            [
                {
                    "reed": one.number,
                    "verdict": one.verdict,
                    "score": one.score if one.score is not None and math.isfinite(one.score) else None,
                    "reasons": one.reasons,
                    "missing": one.missing,
                    "tied_with": one.tied_with,
                    "offered": one.offered,
                    "then": one.then or None,
                }
                for one in (*found.choices, *found.apart)
            ]
        )
        return
    if not found.choices:
        show("No reed to choose from yet.\n")
    for one in found.choices:
        missing = f"not known: {', '.join(one.missing)}" if one.missing else ""
        tied = f"tied with {', '.join(one.tied_with[:4])}" if one.tied_with else ""
        why = "; ".join(part for part in (*one.reasons, tied, missing) if part)
        # Under each other, not in a table: reasons are too long for a column, and the point of it.
        show(labelled(one.number, f"{one.verdict}. {capitalized(why)}.", columns=width()))
    apart = [f"{one.number} ({', '.join((one.verdict, *one.reasons))})" for one in found.apart]
    if apart:
        show("\n" + paragraph(f"Not offered: {'; '.join(apart)}.", columns=width()))
