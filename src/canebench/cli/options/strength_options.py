"""Options that tell how strong a reed is by mouth, against another."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

if TYPE_CHECKING:
    from collections.abc import Callable

Command = TypeVar("Command", bound="Callable[..., Any]")

_BY_MOUTH: Final = click.option(
    "--by-mouth", metavar="WORDS", help="easier, same, a little stronger, much stronger; with --than."
)
_THAN: Final = click.option("--than", metavar="NUMBER", help="The reed it was compared with by mouth.")


def compared(command: Command) -> Command:
    """Adds --by-mouth and --than."""
    return _BY_MOUTH(_THAN(command))
