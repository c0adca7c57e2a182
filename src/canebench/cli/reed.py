"""`canebench reed`: list the reeds, or tell one reed's whole story."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from canebench.cli.ledger_options import print_json, reads
from canebench.cli.text import labelled, paragraph, show, strong, table, width

if TYPE_CHECKING:
    from canebench.store.tables import Row


@click.command(
    "reed",
    short_help="List the reeds, or tell one reed's whole story.",
    epilog="Example: canebench reed 7, or canebench reed --state 'breaking in'",
)
@click.argument("number", required=False)
@click.option("--state", metavar="STATE", help="Only reeds of this state: new, on trial, settled, …")
@click.option("--lot", metavar="NAME", help="Only reeds of this lot.")
@reads
def command(
    *, number: str | None, state: str | None, lot: str | None, ledger_url: str | None, as_json: bool
) -> None:
    """List the reeds, or tell the story of the reed with NUMBER on its binding."""
    from canebench.bench.ledger import the_ledger  # noqa: PLC0415 - help need not wait
    from canebench.bench.stock import list_reeds, reed_story  # noqa: PLC0415

    ledger = the_ledger(ledger_url)
    if number is None:
        rows = list_reeds(ledger, state=state, lot=lot)
        if as_json:
            print_json(rows)
            return
        shown = [(str(r["number"]), str(r["state"]), str(r["lot"] or "–"), _day(r)) for r in rows]
        empty = "No reed here yet. Take in a lot: canebench lot NAME --count N\n"
        show(table(("reed", "state", "lot", "since"), shown, columns=width(), words=True) if shown else empty)
        return
    story = reed_story(ledger, number)
    if as_json:
        print_json(story)
        return
    _tell(story)


def _tell(story: dict[str, Any]) -> None:
    columns, reed = width(), story["reed"]
    show(strong(f"Reed {reed['number']}") + "\n")
    lot = f"of the lot {story['lot']['name']}" if story["lot"] else "of no lot"
    since = _day(reed)
    reason = f" ({reed['state_reason']})" if reed["state_reason"] else ""
    show(paragraph(f"{reed['state']}{reason} since {since}, {lot}.", columns=columns))
    show(labelled("Played", f"{story['minutes']:g} minutes in {story['spells']} spells.", columns=columns))
    show(labelled("Eased", story["eases_said"], columns=columns))
    strengths, mouths = story["strengths"], story["mouth_tests"]
    show(labelled("Strong", f"{len(strengths)} readings.", columns=columns))
    if mouths:
        show(labelled("Mouth", f"rests until {str(mouths[-1]['rests_until'])[:16]} UTC.", columns=columns))
    show("\n")
    rows = [(act.at[:16].replace("T", " "), act.who, act.said) for act in story["acts"]]
    show(table(("when (UTC)", "who", "what"), rows, columns=200, words=True))


def _day(row: Row) -> str:
    return str(row["state_since"])[:10]
