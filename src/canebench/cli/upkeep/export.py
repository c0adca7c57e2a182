"""`canebench export`: tables out to files."""

from __future__ import annotations

from pathlib import Path

import click

from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.text.words import paragraph, show, width


@click.command(
    "export",
    epilog="Example: canebench export reeds --to reeds.csv, or canebench export --to everything.json",
)
@click.argument("table", required=False)
@click.option(
    "--to",
    "path",
    required=True,
    type=click.Path(path_type=Path),
    metavar="FILE|FOLDER",
    help="Where to; its ending says the form.",
)
@click.option(
    "--format", "form", metavar="FORM", help="csv, json, parquet or xlsx, where the ending does not say it."
)
@click.option("--force", is_flag=True, help="Replace a file that is there.")
@reads
def command(
    *, table: str | None, path: Path, form: str | None, force: bool, ledger_url: str | None, as_json: bool
) -> None:
    """Write TABLE, or all tables, out. As CSV or Parquet, all are a new folder with a file for each."""
    from canebench.bench.acts.ledger import the_ledger  # noqa: PLC0415
    from canebench.bench.acts.upkeep.exchange import export  # noqa: PLC0415 - help need not wait

    made = export(the_ledger(ledger_url), path, table=table, form=form, force=force)
    if as_json:
        print_json({"path": str(made)})
        return
    show(paragraph(f"Wrote {made}.", columns=width()))
