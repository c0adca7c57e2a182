"""`canebench demo`: an invented band's season, in a ledger of its own."""

from __future__ import annotations

from pathlib import Path

import click

from canebench.cli.text.words import paragraph, show, width


@click.command(
    "demo",
    epilog="Example: canebench demo try, then canebench reed --ledger try/ledger.db",
)
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--remove", is_flag=True, help="Remove the demo in that folder, and nothing else.")
def command(*, folder: Path, remove: bool) -> None:
    """Fill the new folder FOLDER with an invented season: lots, reeds, players, takes, months of playing."""
    from canebench.bench.acts.upkeep.demo_season import BAND, make_demo, remove_demo  # noqa: PLC0415

    if remove:
        show(paragraph(f"Removed {remove_demo(folder)} files of the demo in {folder}.", columns=width()))
        return
    path = make_demo(folder)
    said = (
        f"The season of {BAND}, an invented band, is in {path}. Look at it with: "
        f"canebench reed --ledger {path}. Remove it with: canebench demo {folder} --remove"
    )
    show(paragraph(said, columns=width()))
