"""Options that narrow a list of reeds."""

from __future__ import annotations

from typing import Final

import click

LOT: Final = click.option("--lot", metavar="NAME", help="Only reeds of this lot.")
STATE: Final = click.option(
    "--state", metavar="STATE", help="Only reeds of this state: new, on trial, settled, …"
)
