"""`canebench demo`: an invented band's season, in a ledger of its own."""

from __future__ import annotations

from pathlib import Path

import click

from canebench.cli.options.numbers import COUNT
from canebench.cli.text.words import paragraph, show, width
from canebench.cli.upkeep.serve import open_bench


@click.command(
    "demo",
    epilog="Example: canebench demo --serve; or canebench demo try, canebench reed --ledger try/ledger.db",
)
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option("--serve", "serves", is_flag=True, help="Open it in a browser; made where it is not there yet.")
@click.option(
    "--port", type=COUNT, default=0, metavar="NUMBER", help="With --serve: a fixed port [any free one]."
)
@click.option("--no-browser", is_flag=True, help="With --serve: only show the link; do not open it.")
@click.option("--remove", is_flag=True, help="Remove the demo in that folder, and nothing else.")
def command(*, folder: Path | None, serves: bool, port: int, no_browser: bool, remove: bool) -> None:
    """Fill the new folder FOLDER with an invented season: lots, reeds, players, takes, months of playing.

    Without FOLDER it is one of its own beside your ledger, where the page makes it too.
    """
    from canebench.bench.acts.ledger import season_folder  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.upkeep.demo_season import BAND, make_demo, remove_demo, season_in  # noqa: PLC0415

    place = folder or season_folder(None)
    if remove:
        show(paragraph(f"Removed {remove_demo(place)} files of the demo in {place}.", columns=width()))
        return
    path = season_in(place) if serves else make_demo(place)
    made = f"The season of {BAND}, an invented band, is in {path}."
    if serves:
        show(paragraph(made, columns=width()))
        open_bench(ledger_url=str(path), who=None, port=port, no_browser=no_browser)
        return
    named = "" if folder is None else f" {folder}"
    said = (
        f"{made} Open it with: canebench demo{named} --serve. "
        f"Or look at it with: canebench reed --ledger {path}. Remove it with: canebench demo{named} --remove"
    )
    show(paragraph(said, columns=width()))
