"""`canebench doctor`: is this bench in order."""

from __future__ import annotations

from dataclasses import asdict

import click

from canebench.cli.options.ledger_options import looks, print_json
from canebench.cli.text.words import labelled, show, width

_BROKEN = 7


@click.command("doctor")
@looks
def command(*, ledger_url: str | None, as_json: bool) -> None:
    """Look at ledger, folders, disk, recordings, sound, print and browser; nothing is changed."""
    from canebench.bench.acts.upkeep.check_up import check_up  # noqa: PLC0415 - help need not wait

    found = check_up(ledger_url)
    if as_json:
        print_json([asdict(one) for one in found])
    else:
        for one in found:
            advice = f" Do: {one.do}." if one.do else ""
            show(labelled(one.what, f"{one.verdict}: {one.said}.{advice}", columns=width()))
    if any(one.verdict == "broken" for one in found):
        click.get_current_context().exit(_BROKEN)
