"""`canebench reed`: list the reeds, or tell one reed's whole story."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import click

from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.options.numbers import COUNT
from canebench.cli.options.only import LOT, STATE
from canebench.cli.text.words import labelled, paragraph, show, strong, table, width

if TYPE_CHECKING:
    from datetime import tzinfo

    from canebench.bench.acts.ledger import ActRecord
    from canebench.bench.acts.reeds.stock import ReedOfLot
    from canebench.bench.views.reed_story import ReedStory

_PAGE: Final = 100


@click.command(
    "reed",
    epilog="Example: canebench reed 7, or canebench reed --state 'breaking in'",
)
@click.argument("number", required=False)
@STATE
@LOT
@click.option("--player", metavar="NAME", help="Only reeds of this player.")
@click.option("--search", metavar="TEXT", help="Only reeds with this in their number or remarks.")
@click.option("--limit", type=COUNT, metavar="N", help="At most so many; 100 on the page, all with --json.")
@reads
def command(
    *,
    number: str | None,
    limit: int | None,
    ledger_url: str | None,
    as_json: bool,
    **only: str | None,
) -> None:
    """List the reeds, or tell the story of the reed with NUMBER on its binding."""
    from canebench.bench.acts.band import band_defaults  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.ledger import the_ledger  # noqa: PLC0415
    from canebench.bench.acts.reeds.stock import list_reeds  # noqa: PLC0415
    from canebench.bench.views.reed_story import story_numbered  # noqa: PLC0415

    ledger = the_ledger(ledger_url)
    zone = band_defaults(ledger).zone
    if number is None:
        if as_json:
            print_json(list_reeds(ledger, limit=limit, **only))
            return
        most = _PAGE if limit is None else limit
        # One more than is shown tells whether there are more.
        _list(
            list_reeds(ledger, limit=most + (most > 0), **only), most, narrowed=any(only.values()), zone=zone
        )
        return
    story = story_numbered(ledger, number)
    if as_json:
        print_json(story)
        return
    _tell(story, zone)


def _list(reeds: list[ReedOfLot], most: int, *, narrowed: bool, zone: tzinfo | None) -> None:
    from canebench.base.clock.local_time import day_said  # noqa: PLC0415

    if not reeds:
        none = (
            "No such reed." if narrowed else "No reed here yet. Take in a lot: canebench lot NAME --count N"
        )
        show(none + "\n")
        return
    shown = [(one.number, one.state, one.lot or "–", day_said(one.state_since, zone)) for one in reeds[:most]]
    show(table(("reed", "state", "lot", "since"), shown, columns=width(), words=True))
    if len(reeds) > most:
        more = f"There are more than these {most}: see --state, --lot, --player, --search, --limit."
        show(paragraph(more, columns=width()))


def _tell(story: ReedStory, zone: tzinfo | None) -> None:
    from canebench.base.clock.local_time import day_said, time_said  # noqa: PLC0415

    columns, reed = width(), story.reed
    show(strong(f"Reed {reed.number}") + "\n")
    lot = "of no lot" if story.lot is None else f"of the lot {story.lot.name}"
    reason = f" ({reed.state_reason})" if reed.state_reason else ""
    show(paragraph(f"{reed.state}{reason} since {day_said(reed.state_since, zone)}, {lot}.", columns=columns))
    show(labelled("Played", f"{story.minutes:g} minutes in {story.spells} spells.", columns=columns))
    show(labelled("Eased", story.eases_said, columns=columns))
    strengths, mouths = story.strengths, story.mouth_tests
    before = story.before(strengths[-1].at) if strengths else None
    marked = f", the newest {before}" if before else ""
    show(labelled("Strong", f"{len(strengths)} readings{marked}.", columns=columns))
    if mouths:
        show(labelled("Mouth", f"rests until {time_said(mouths[-1].rests_until, zone)}.", columns=columns))
    show("\n")
    rows = [(time_said(act.at, zone), act.who, _said(act)) for act in story.acts]
    show(table(("when", "who", "what"), rows, columns=200, words=True))


def _said(act: ActRecord) -> str:
    return act.said if act.undone_by is None else f"{act.said} (undone)"
