"""`canebench conditions`: the room in which takes were played, and how warm the pipes were."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import print_json, writes
from canebench.cli.options.numbers import COUNT
from canebench.cli.options.room_options import of_take
from canebench.cli.text.words import paragraph, show, table, width


@click.command(
    "conditions",
    epilog="Example: canebench conditions 12 --room-degc 18.5 --room-rh 55 --warm 20",
)
@click.argument("take", type=COUNT, required=False)
@of_take
@click.option(
    "--limit", type=COUNT, default=20, show_default=True, metavar="N", help="How many takes are listed."
)
@writes
def command(
    *,
    take: int | None,
    limit: int,
    ledger_url: str | None,
    who: str | None,
    as_json: bool,
    **told: float | None,
) -> None:
    """Write down the conditions of TAKE, by its number. Without TAKE, list those of the newest takes."""
    if take is None and any(value is not None for value in told.values()):
        sentence = "Say which take: its number is in the list that canebench conditions prints."
        raise click.UsageError(sentence, ctx=click.get_current_context())
    from canebench.base.clock.local_time import day_said  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.band import band_defaults  # noqa: PLC0415
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415
    from canebench.bench.acts.reeds.weather import list_conditions, note_conditions  # noqa: PLC0415

    ledger = the_ledger(ledger_url)
    if take is None:
        rows, zone = list_conditions(ledger, limit=limit), band_defaults(ledger).zone
        if as_json:
            print_json(rows)
            return
        shown = [
            (
                str(one.take),
                day_said(one.at, zone),
                one.reed or "–",
                one.chanter or "–",
                *_said(one.room_degc, one.room_rh, one.warm_min),
            )
            for one in rows
        ]
        heads = ("take", "when", "reed", "chanter", "room", "humidity", "warm")
        show(table(heads, shown, columns=width(), words=True) if shown else "No take here yet.\n")
        return
    kept = note_conditions(ledger, take, who=the_writer(who), **told)
    if as_json:
        print_json(kept)
        return
    room, humidity, warm = _said(kept.room_degc, kept.room_rh, kept.warm_min)
    said = f"Take {take}: room {room}, relative humidity {humidity}, pipes played {warm} before."
    show(paragraph(said.replace("–", "not told"), columns=width()))


def _said(room_degc: float | None, room_rh: float | None, warm_min: float | None) -> tuple[str, str, str]:
    told = ((room_degc, "°C"), (room_rh, "%"), (warm_min, "min"))
    room, humidity, warm = ("–" if value is None else f"{value:g} {unit}" for value, unit in told)
    return room, humidity, warm
