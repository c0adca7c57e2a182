"""`canebench backup`: everything into a folder that can be verified."""

from __future__ import annotations

from pathlib import Path

import click

from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.text.words import paragraph, show, width


@click.command(
    "backup",
    epilog="Example: canebench backup /media/stick/canebench-november",
)
@click.argument("folder", type=click.Path(path_type=Path))
@reads
def command(*, folder: Path, ledger_url: str | None, as_json: bool) -> None:
    """Back up ledger and recordings into the new folder FOLDER, and verify it; others may write meanwhile."""
    from canebench.bench.acts.upkeep.safekeeping import back_up  # noqa: PLC0415 - help need not wait

    made = back_up(ledger_url, folder)
    if as_json:
        print_json({"folder": str(made.folder), "files": made.files, "bytes": made.size_bytes})
        return
    size = f"{made.size_bytes / 1e6:.1f} MB in {made.files} files"
    said = f"Backed up and verified: {made.folder}, {size}. Look again later: canebench verify {made.folder}"
    show(paragraph(said, columns=width()))
