"""`canebench restore`: a backup in the ledger's place."""

from __future__ import annotations

from pathlib import Path

import click

from canebench.base.sentences import capitalized
from canebench.cli.options.ledger_options import looks, print_json
from canebench.cli.text.words import paragraph, show, width

_EARLIER = "An earlier backup may hold them whole: canebench verify FOLDER tells."


@click.command("restore")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--yes", is_flag=True, help="Do not ask.")
@looks
def command(*, folder: Path, yes: bool, ledger_url: str | None, as_json: bool) -> None:
    """Verify the backup FOLDER and put it in the ledger's place; the ledger from before is kept beside it."""
    from canebench.bench.acts.ledger import place_said  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.upkeep.safekeeping import damaged_when_made, restore  # noqa: PLC0415

    if not yes:
        for one in damaged_when_made(folder):
            click.echo(paragraph(f"{capitalized(one)}.", columns=width()), err=True, nl=False)
        click.confirm(f"Put {folder} in the place of {place_said(ledger_url)}?", abort=True, err=True)
    restored = restore(ledger_url, folder)
    if as_json:
        kept = None if restored.kept is None else str(restored.kept)
        told = {"restored": str(folder), "kept": kept, "recordings": restored.recordings}
        print_json({**told, "amiss": restored.amiss})
        return
    how = "Restored, not all of it whole," if restored.amiss else "Restored"
    kept_said = "" if restored.kept is None else f" What was there is kept: {restored.kept}."
    said = f"{how} from {folder}; {restored.recordings} recordings came back.{kept_said}"
    show(paragraph(said, columns=width()))
    for one in restored.amiss:
        show(paragraph(f"{capitalized(one)}.", columns=width()))
    if restored.amiss:
        show(paragraph(_EARLIER, columns=width()))
