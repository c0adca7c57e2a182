"""`canebench forecast`: what a reed or a lot will become."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.options.numbers import COUNT, NUMBER
from canebench.cli.text.words import labelled, paragraph, show, table, width

if TYPE_CHECKING:
    from canebench.bench.acts.ledger import Ledger
    from canebench.bench.views.ahead.foretold import Foresight


@click.command(
    "forecast",
    epilog="Examples: canebench forecast 7 --days 10; canebench forecast --lot spring",
)
@click.argument("number", required=False)
@click.option("--lot", metavar="NAME", help="Every reed of this lot, a line each.")
@click.option("--kept", is_flag=True, help="How often forecasts were true, by what was read since.")
@click.option("--player", metavar="NAME", help="For whom; else whose reed it is.")
@click.option("--days", type=NUMBER, multiple=True, metavar="N", help="How far ahead; 3, 7 and 14 else.")
@click.option("--onset", metavar="PRESSURE", help="Settled: onset moves by less; as in settings else.")
@click.option("--low-a", metavar="CENTS", help="Settled: low A moves by less; as in settings else.")
@click.option(
    "--sessions", type=COUNT, metavar="N", help="Settled: over so many sessions; as in settings else."
)
@reads
def command(
    *,
    number: str | None,
    lot: str | None,
    kept: bool,
    player: str | None,
    days: tuple[float, ...],
    onset: str | None,
    low_a: str | None,
    sessions: int | None,
    ledger_url: str | None,
    as_json: bool,
) -> None:
    """Say what the reed NUMBER will become: what it plays at, low A and tilt, with 80 % intervals.

    It learns from the reed's own readings and minutes, and from the other reeds'.
    """
    if sum((number is not None, lot is not None, kept)) != 1:
        raise click.UsageError("Name one reed, or --lot NAME, or --kept.")
    if player is not None and number is None:
        raise click.UsageError("--player goes with one reed: in a lot each is judged for whose it is.")
    from canebench.bench.acts.band import band_defaults  # noqa: PLC0415
    from canebench.bench.acts.ledger import the_ledger  # noqa: PLC0415 - help need not wait
    from canebench.bench.views.ahead.foretold import (  # noqa: PLC0415
        USUAL_DAYS,
        lot_foretold,
        reed_foretold,
    )
    from canebench.reeds.forecasts.settled import rule_from  # noqa: PLC0415

    ledger = the_ledger(ledger_url)
    rule = rule_from(onset or "", low_a or "", sessions, usual=band_defaults(ledger).rule)
    ahead = days or USUAL_DAYS
    if kept:
        _kept(ledger, as_json=as_json)
    elif lot is not None:
        found = lot_foretold(ledger, lot, days=ahead, rule=rule)
        if as_json:
            print_json([_plain(one) for one in found])
        else:
            _lot(found)
    elif number is not None:
        one = reed_foretold(ledger, number, days=ahead, player=player, rule=rule)
        if as_json:
            print_json(_plain(one))
        else:
            _reed(one)


def _reed(one: Foresight) -> None:
    columns = width()
    rows = [(line.when, line.plays_said, line.low_a_said, line.tilt_said) for line in one.lines]
    show(table(("", "plays at", "low A", "tilt"), rows, columns=columns, words=True))
    show("\n" + paragraph(one.settled, columns=columns))
    if one.advice is not None:
        show(labelled("Advice", f"For {one.player}: {one.advice.reason}", columns=columns))
    pinch = one.pinch_refused or ("" if one.pinch is None else one.pinch.reason)
    if pinch:
        show(labelled("Pinch", pinch, columns=columns))
    for missing in one.missing:
        show(labelled("Missing", missing, columns=columns, indent=9))
    read = "1 reading" if one.readings == 1 else f"{one.readings} readings"
    known = f"{read}, {one.minutes:.0f} minutes played; learns from {one.taught_by} other reeds."
    show("\n" + paragraph(f"{known} {one.share_said} Brackets hold four times in five.", columns=columns))


def _lot(found: list[Foresight]) -> None:
    if not found:
        show("No reed of that lot is there.\n")
        return
    rows = [
        (
            one.reed.number,
            "not judged" if one.advice is None else str(one.advice.what),
            "" if one.advice is None else f"{100.0 * one.advice.chance:.0f} %",
            one.lines[-1].plays_said,
            f"{100.0 * one.settled_chance:.0f} %",
        )
        for one in found
    ]
    show(table(("reed", "advice", "suits", "settles at", "settled now"), rows, columns=width(), words=True))


def _kept(ledger: Ledger, *, as_json: bool) -> None:
    from canebench.bench.views.ahead.kept_word import how_counted, kept_word  # noqa: PLC0415
    from canebench.bench.views.ahead.words import SAID_OF, heading_of, held_between  # noqa: PLC0415

    kept = kept_word(ledger)
    if as_json:
        print_json(kept)
        return
    if not kept.said:
        show(paragraph(kept.why_none, columns=width()))
        return
    rows = [
        (one.day, one.reed, SAID_OF[one.what], one.foretold, one.read, "yes" if one.within_80 else "no")
        for one in kept.said
    ]
    headers = ("read on", "reed", "what", "foretold 1 to 2 weeks before", "was", "within")
    show(table(headers, rows, columns=width(), words=True))
    show("\n")
    ranges = [
        (SAID_OF[each.what], f"{one.stated} %", f"{one.inside} of {one.of}", held_between(one), one.bears_out)
        for each in kept.held
        for one in each.levels
    ]
    show(table(("what", "range", "fell inside", "95 % sure", "so"), ranges, columns=width(), words=True))
    show("\n")
    for each in kept.held:
        show(labelled(heading_of(each.what), each.said, columns=width(), indent=10))
    show("\n" + paragraph(how_counted(), columns=width()))


def _plain(one: Foresight) -> dict[str, object]:
    return {
        "reed": one.reed.number,
        "readings": one.readings,
        "minutes": one.minutes,
        "taught_by": one.taught_by,
        "ahead": one.lines,
        "settled": {"said": one.settled, "chance": one.settled_chance},
        "player": one.player or None,
        "advice": None
        if one.advice is None
        else {"what": str(one.advice.what), "reason": one.advice.reason, "chance": one.advice.chance},
        "pinch": one.pinch_refused or (None if one.pinch is None else one.pinch.reason),
        "missing": one.missing,
    }
