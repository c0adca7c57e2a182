"""`canebench backup`: everything into a folder that can be verified."""

from __future__ import annotations

from pathlib import Path

import click

from canebench.base.sentences import capitalized
from canebench.cli.options.ledger_options import print_json, reads
from canebench.cli.text.words import paragraph, show, width

_DAMAGED = 7


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
        told = {"folder": str(made.folder), "files": made.files, "bytes": made.size_bytes}
        print_json({**told, "amiss": made.amiss})
    else:
        size = f"{made.size_bytes / 1e6:.1f} MB in {made.files} files"
        how = "Backed up, not all of it whole" if made.amiss else "Backed up and verified"
        said = f"{how}: {made.folder}, {size}. Look again later: canebench verify {made.folder}"
        show(paragraph(said, columns=width()))
        for one in made.amiss:
            show(paragraph(f"{capitalized(one)}.", columns=width()))
    if made.amiss:
        click.get_current_context().exit(_DAMAGED)
