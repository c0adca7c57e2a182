"""`canebench spell`: spells of playing afterwards, listed, mended or taken back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from canebench.base.sentences import capitalized
from canebench.cli.options.ledger_options import print_json, writes
from canebench.cli.options.numbers import COUNT
from canebench.cli.text.words import paragraph, show, table, width

if TYPE_CHECKING:
    from datetime import tzinfo

    from canebench.bench.acts.reeds.spells import SpellLine


@click.command(
    "spell",
    epilog="Example: canebench spell 12 --minutes 10 --at '2026-03-02 19:05'",
)
@click.argument("spell", type=COUNT, required=False)
@click.option("--minutes", metavar="MIN", help="How long it was.")
@click.option("--at", metavar="TIME", help="When it was over, by the band's clock: 2026-03-02 19:05.")
@click.option("--player", metavar="NAME", help="Who played; '' for not told.")
@click.option("--take-back", is_flag=True, help="It never was: into the bin, and the strength read after it.")
@click.option("--reed", metavar="NUMBER", help="Without SPELL: only spells of this reed.")
@click.option(
    "--limit", type=COUNT, default=20, show_default=True, metavar="N", help="How many spells are listed."
)
@writes
def command(
    *,
    spell: int | None,
    take_back: bool,
    reed: str | None,
    limit: int,
    ledger_url: str | None,
    who: str | None,
    as_json: bool,
    **mended: str | None,
) -> None:
    """Mend the spell of playing SPELL, by its number, or take it back. Without SPELL, list the newest."""
    told = {name: text for name, text in mended.items() if text is not None}
    if spell is None and (told or take_back):
        raise click.UsageError("Say which spell: its number is in the list that canebench spell prints.")
    if spell is not None and reed is not None:
        raise click.UsageError("Either SPELL, or --reed for a list.")
    if told and take_back:
        raise click.UsageError("Either mend it or --take-back.")
    from canebench.bench.acts.band import band_defaults  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415
    from canebench.bench.acts.reeds.spells import (  # noqa: PLC0415
        list_spells,
        mend_spell,
        one_spell,
        take_spell_back,
    )

    ledger = the_ledger(ledger_url)
    if spell is not None and (told or take_back):
        writer = the_writer(who)
        done = (
            take_spell_back(ledger, spell, who=writer)
            if take_back
            else mend_spell(ledger, spell, {name: text or None for name, text in told.items()}, who=writer)
        )
        if as_json:
            print_json(done)
            return
        show(paragraph(f"{capitalized(done.said)}.", columns=width()))
        return
    lines = [one_spell(ledger, spell)] if spell is not None else list_spells(ledger, reed, limit=limit)[0]
    if as_json:
        print_json(lines if spell is None else lines[0])
        return
    _list(lines, band_defaults(ledger).zone)


def _list(lines: list[SpellLine], zone: tzinfo | None) -> None:
    from canebench.base.clock.local_time import time_said  # noqa: PLC0415

    shown = [
        (str(one.spell), time_said(one.at, zone), one.reed, f"{one.minutes:g} min", one.player or "–")
        for one in lines
    ]
    heads = ("spell", "when", "reed", "played", "by")
    none = "No spell here yet. Write one down: canebench play NUMBER --minutes MIN\n"
    show(table(heads, shown, columns=width(), words=True) if shown else none)
