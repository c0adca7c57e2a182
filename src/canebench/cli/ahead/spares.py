"""`canebench spares`: who plays which settled reed, and who lacks one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.options.numbers import COUNT
from canebench.cli.text.words import labelled, paragraph, show, width

if TYPE_CHECKING:
    from canebench.bench.views.ahead.spares import Spares


@click.command("spares", epilog="Example: canebench spares --each 3")
@click.option("--each", type=COUNT, metavar="N", help="Reeds that each should have, 1 to 5; 2 else.")
@click.option("--player", "players", multiple=True, metavar="NAME", help="For whom; else for everybody.")
@reads
def command(*, each: int | None, players: tuple[str, ...], ledger_url: str | None, as_json: bool) -> None:
    """Match settled and spare reeds to players: one to play, then one to fall back on.

    A reed suits that plays within 2 inches of water of what its player blows, never above the ceiling. What
    is somebody's stays theirs. Taken in turn, all stay playable: the one that has lain longest is next.
    """
    from canebench.bench.acts.ledger import the_ledger  # noqa: PLC0415 - help need not wait
    from canebench.bench.views.ahead.spares import spares  # noqa: PLC0415
    from canebench.reeds.lots.spares import USUAL_EACH  # noqa: PLC0415

    found = spares(the_ledger(ledger_url), each=USUAL_EACH if each is None else each, players=players)
    if as_json:
        print_json(_plain(found))
        return
    _show(found)


def _show(found: Spares) -> None:
    columns = width()
    for one in found.players:
        ready_said = [
            f"reed {ready.reed.number}{', next' if ready.next else ''}: {ready.said}" for ready in one.ready
        ]
        if one.lacking:
            coming = f", {one.coming} being broken in" if one.coming else ""
            ready_said.append(f"{one.lacking} lacking (they blow {one.blows}{coming})")
        show(labelled(one.player.name, "; ".join(ready_said) + ".", columns=columns, indent=16))
    if found.players:
        show("\n")
    for said in found.said:
        show(paragraph(said, columns=columns))
    if found.lacking:
        show(paragraph(f"How many to order: canebench worth LOT --need {found.lacking}.", columns=columns))
    if found.untold:
        names = ", ".join(found.untold)
        told = f"What they blow is not told: {names}. canebench player NAME --blows '28 inH2O'"
        show(paragraph(told, columns=columns))
    if not found.players and not found.untold:
        show("No player is known yet: canebench player NAME --blows '28 inH2O'\n")


def _plain(found: Spares) -> dict[str, object]:
    return {
        "each": found.each,
        "players": [
            {
                "player": one.player.name,
                "reeds": [
                    {
                        "reed": ready.reed.number,
                        "own": ready.own,
                        "last_played": ready.last or None,
                        "next": ready.next,
                        "rests": ready.rests or None,
                        "said": ready.said,
                    }
                    for ready in one.ready
                ],
                "lacking": one.lacking,
                "being_broken_in": one.coming,
            }
            for one in found.players
        ],
        "strength_not_told": list(found.untold),
        "not_read": [reed.number for reed in found.unread],
        "free": [reed.number for reed in found.free],
        "said": list(found.said),
    }
