"""What a plan aims at, as options: scale and reference pitch, and how far seat, tape and pinches may go."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

import click

from canebench.base.errors import InputError
from canebench.base.parsing import number_from
from canebench.cli.options.numbers import COUNT, NUMBER

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
    """Adds --scale and --reference, and what bounds a plan: --deeper and all after it."""
    for option in reversed(
        (
            click.option(
                "--scale",
                metavar="NAME",
                help="Target scale: canebench scales. The default is the fitting's own, at first harmonic.",
            ),
            click.option(
                "--reference",
                callback=reference_from,
                metavar="drones|HERTZ",
                help="Drones that follow low A (the first default), or a fixed low A, such as a band's.",
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
            click.option(
                "--step", "step_mm", type=NUMBER, metavar="MM", help="The smallest move of the seat [0.25]."
            ),
            click.option(
                "--strips", "most_strips", type=COUNT, metavar="N", help="How many holes may bear tape [8]."
            ),
            click.option(
                "--pinches-left",
                type=COUNT,
                metavar="N",
                help="How often the reed may still be pinched [0].",
            ),
            click.option(
                "--thread",
                "thread_mm",
                type=NUMBER,
                metavar="MM",
                help="Thickness of the hemp thread [0.25].",
            ),
            click.option(
                "--inches-per-mm",
                type=NUMBER,
                metavar="INCHES",
                help="Length of hemp that raised your reed by a millimetre, in place of the estimate.",
            ),
        )
    ):
        command = option(command)
    return command
