"""`canebench verify`: is a backup whole."""

from __future__ import annotations

from pathlib import Path

import click

from canebench.cli.options.ledger_options import print_json
from canebench.cli.text.words import paragraph, show, width

_DAMAGED = 7


@click.command("verify")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(*, folder: Path, as_json: bool) -> None:
    """Check every file of the backup FOLDER against its digest, and the ledger in it."""
    from canebench.bench.acts.upkeep.safekeeping import check  # noqa: PLC0415 - help need not wait

    found = check(folder)
    if as_json:
        print_json({"whole": not found, "findings": found})
    elif found:
        for one in found:
            show(paragraph(f"{one}.", columns=width()))
    else:
        show(paragraph(f"Whole: {folder} is as it was written.", columns=width()))
    if found:
        click.get_current_context().exit(_DAMAGED)
