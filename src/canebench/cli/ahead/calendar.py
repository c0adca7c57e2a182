"""`canebench calendar`: who breaks in which reed when."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.options.numbers import COUNT, NUMBER
from canebench.cli.text.words import labelled, paragraph, show, width

if TYPE_CHECKING:
    from canebench.bench.views.ahead.calendar import Calendar


@click.command("calendar", epilog="Example: canebench calendar --by 2026-06-20 --minutes 25 --ics reeds.ics")
@click.option("--by", required=True, metavar="DATE", help="When they shall be settled, like 2026-06-20.")
@click.option("--need", type=COUNT, metavar="N", help="Settled reeds needed: how likely that is.")
@click.option("--minutes", type=NUMBER, metavar="MIN", help="What each player has on a day; 20 else.")
@click.option("--starts", metavar="TIME", help="When they begin, like 18:30; 18:00 else.")
@click.option("--player", "players", multiple=True, metavar="NAME", help="Who; else whose the reeds are.")
@click.option(
    "--reed", "reeds", multiple=True, metavar="NUMBER", help="Which; else all that are not settled."
)
@click.option(
    "--sessions", metavar="MINUTES", help="Of a reed's sessions, like '5, 5, 8'; as in settings else."
)
@click.option("--rest", metavar="HOURS", help="How long a reed rests after each; as in settings else.")
@click.option("--ics", type=click.Path(path_type=Path), metavar="FILE", help="As a calendar file as well.")
@reads
def command(
    *,
    by: str,
    need: int | None,
    minutes: float | None,
    starts: str | None,
    players: tuple[str, ...],
    reeds: tuple[str, ...],
    sessions: str | None,
    rest: str | None,
    ics: Path | None,
    ledger_url: str | None,
    as_json: bool,
) -> None:
    """Plan who plays which reed when, so that as many as possible are settled by a date.

    Short first sessions that grow, a rest after each, one mouth a reed; no more than each has minutes.
    """
    from canebench.bench.acts.band import band_defaults  # noqa: PLC0415
    from canebench.bench.acts.ledger import the_ledger  # noqa: PLC0415 - help need not wait
    from canebench.bench.views.ahead.calendar import (  # noqa: PLC0415
        USUAL_MIN,
        USUAL_STARTS,
        Wanted,
        calendar,
        day_from,
        starts_from,
        write_ics,
    )
    from canebench.bench.views.ahead.calendar_words import (  # noqa: PLC0415
        STRAINS,
        chance_of_need,
        plan_said,
    )
    from canebench.reeds.breaking_in.ladder import ladder_from  # noqa: PLC0415

    ledger = the_ledger(ledger_url)
    wanted = Wanted(
        by=day_from(by, "--by", nearest="2026-06-20"),
        need=need,
        minutes=USUAL_MIN if minutes is None else minutes,
        starts=USUAL_STARTS if starts is None else starts_from(starts, "--starts"),
        players=players,
        reeds=reeds,
        ladder=ladder_from(sessions or "", rest or "", usual=band_defaults(ledger).ladder),
    )
    found = calendar(ledger, wanted)
    if ics is not None:
        write_ics(found, ics)
    if as_json:
        print_json(
            {
                "settled_by": by,
                "sessions": [
                    {
                        "starts": one.starts.isoformat(),
                        "minutes": one.minutes,
                        "player": one.player,
                        "reed": one.reed,
                    }
                    for sessions in found.days.values()
                    for one in sessions
                ],
                "reeds": [
                    {"reed": one.reed, "player": one.player, "chance": one.chance} for one in found.plan.reeds
                ],
                "left_out": [{"reed": one.reed, "why": one.why} for one in found.plan.left_out],
                "needed": need,
                "chance": chance_of_need(found),
                "said": plan_said(found),
            }
        )
        return
    _tell(found, (*plan_said(found), STRAINS))
    if ics is not None:
        show(paragraph(f"Calendar file: {ics}.", columns=width()))


def _tell(found: Calendar, says: tuple[str, ...]) -> None:
    columns = width()
    for day, sessions in found.days.items():
        told = "; ".join(
            f"{one.starts:%H:%M} {one.player}: reed {one.reed}, {one.minutes:g} min" for one in sessions
        )
        show(labelled(f"{day:%a} {day.isoformat()}", f"{told}.", columns=columns, indent=16))
    if found.days:
        show("\n")
    for one in found.by_number:
        last = f"; begun by {one.latest_start} at the latest" if one.latest_start is not None else ""
        many = "one session" if len(one.sessions) == 1 else f"{len(one.sessions)} sessions"
        sure = f"settled by then {100.0 * one.chance:.0f} % sure"
        told = f"{one.player}, {many}, {sure}{last}."
        show(labelled(one.reed, told, columns=columns))
    for said in says:
        show(paragraph(said, columns=columns))
