"""What a plan aims at, as options: the reference pitch, and how far the seat may go."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

import click

from canebench.base.errors import InputError
from canebench.base.parsing import number_from
from canebench.cli.options.numbers import NUMBER

if TYPE_CHECKING:
    from collections.abc import Callable

Command = TypeVar("Command", bound="Callable[..., Any]")

FOLLOW = "drones"


def hertz_from(ctx: click.Context, param: click.Parameter, value: str, *, otherwise: str) -> float:
    """A number of hertz above 0, with or without its unit; `otherwise` is said of what is no number."""
    try:
        hertz = number_from(value.lower().strip().removesuffix("hz"), "pitch")
    except InputError as error:
        raise click.BadParameter(otherwise, ctx, param) from error
    if hertz <= 0:
        raise click.BadParameter(f"{value!r}: a pitch is a number of hertz above 0.", ctx, param)
    return hertz


def reference_from(ctx: click.Context, param: click.Parameter, value: str | None) -> str | float | None:
    """`drones`, or a number of hertz; None where nothing was said."""
    if value is None or value == FOLLOW:
        return value
    otherwise = f"{value!r} is neither {FOLLOW} nor a number of hertz."
    return hertz_from(ctx, param, value, otherwise=otherwise)


def aim_options(command: Command) -> Command:
    """Adds --reference, --deeper and --higher."""
    for option in reversed(
        (
            click.option(
                "--reference",
                callback=reference_from,
                metavar="drones|HERTZ",
                help="Drones that follow low A (the default), or a fixed low A, such as a band's.",
            ),
            click.option(
                "--deeper",
                "deeper_mm",
                type=NUMBER,
                metavar="MM",
                help="How much deeper the seat may go [2].",
            ),
            click.option(
                "--higher",
                "higher_mm",
                type=NUMBER,
                metavar="MM",
                help="How much higher the seat may go [2].",
            ),
        )
    ):
        command = option(command)
    return command
