"""`canebench undo`: take back an act."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import print_json, writes
from canebench.cli.options.numbers import COUNT
from canebench.cli.text.words import paragraph, show, width


@click.command("undo")
@click.argument("act", type=COUNT, required=False)
@writes
def command(*, act: int | None, ledger_url: str | None, who: str | None, as_json: bool) -> None:
    """Take back the last act, or ACT; refused where something else has changed the same since."""
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.upkeep.undo_act import undo_act  # noqa: PLC0415

    undone, by = undo_act(the_ledger(ledger_url), act, who=the_writer(who))
    if as_json:
        print_json({"undone": undone.id, "said": undone.said, "by": by})
        return
    show(
        paragraph(f"Undone: {undone.said} (act {undone.id}). Undo act {by} to have it back.", columns=width())
    )
