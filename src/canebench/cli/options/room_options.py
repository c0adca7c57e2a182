"""Options that tell the room in which something was played, and how warm the pipes were."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from canebench.cli.options.numbers import NUMBER

if TYPE_CHECKING:
    from collections.abc import Callable

Command = TypeVar("Command", bound="Callable[..., Any]")

_DEGC: Final = click.option(
    "--room-degc", type=NUMBER, metavar="DEGREES", help="Temperature of the room, °C."
)
_RH: Final = click.option(
    "--room-rh", type=NUMBER, metavar="PERCENT", help="Relative humidity of the room, %."
)
_WARM: Final = click.option(
    "--warm", "warm_min", type=NUMBER, metavar="MIN", help="How long the pipes were played before."
)


def in_room(command: Command) -> Command:
    """Adds --room-degc and --room-rh."""
    return _DEGC(_RH(command))


def warmed(command: Command) -> Command:
    """Adds --room-degc and --warm, which a plan reckons with."""
    return _DEGC(_WARM(command))


def of_take(command: Command) -> Command:
    """Adds --room-degc, --room-rh and --warm."""
    return warmed(_RH(command))
