"""`canebench scales`: the target scales and their sources."""

from __future__ import annotations

import json

import click

from canebench.cli.text.words import show, table


@click.command("scales")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON list.")
def command(*, as_json: bool) -> None:
    """List the target scales, the default first, and where each was published.

    They differ by 20 to 50 cents in some notes: choose the one you play with "measure --scale NAME".
    """
    from canebench.bench.views.list_scales import list_scales  # noqa: PLC0415 - help need not wait for numerics

    scales = list_scales()
    if as_json:
        rows = [{"name": s.name, "title": s.title, "source": s.source, "ratios": s.ratios} for s in scales]
        click.echo(json.dumps(rows, indent=2, allow_nan=False))
        return
    for scale in scales:
        show(f"{scale.name}\n    ratios to low A: {scale.title}\n    source: {scale.source}\n")
    notes = [note for note in scales[0].ratios if len({f"{s.ratios[note]:.6f}" for s in scales}) > 1]
    show("\nCents above low A, where they differ:\n")
    rows_text = [(s.name, *(f"{s.cents(note):.1f}" for note in notes)) for s in scales]
    show(table(("scale", *notes), rows_text, columns=100))
