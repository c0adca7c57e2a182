"""What a plan aims at, as options: scale and reference pitch, and how far seat, tape and pinches may go."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, TypeVar

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


#: What bounds a plan: option, field, kind, what stands for its value, and help.
_BOUNDS: Final[tuple[tuple[str, str, click.ParamType[Any], str, str], ...]] = (
    ("--deeper", "deeper_mm", NUMBER, "MM", "How much deeper the seat may go [2]."),
    ("--higher", "higher_mm", NUMBER, "MM", "How much higher the seat may go [2]."),
    ("--step", "step_mm", NUMBER, "MM", "The smallest move of the seat [0.25]."),
    ("--strips", "most_strips", COUNT, "N", "How many holes may bear tape [8]."),
    ("--pinches-left", "pinches_left", COUNT, "N", "How often the reed may still be pinched [0]."),
    ("--thread", "thread_mm", NUMBER, "MM", "Thickness of the hemp thread [0.25]."),
    (
        "--inches-per-mm",
        "inches_per_mm",
        NUMBER,
        "INCHES",
        "Length of hemp that raised your reed by a millimetre, if you know: it replaces the estimate.",
    ),
)


def aim_options(command: Command) -> Command:
    """Adds --scale and --reference, and what bounds a plan: --deeper and all after it."""
    for option, name, kind, metavar, said in reversed(_BOUNDS):
        command = click.option(option, name, type=kind, metavar=metavar, help=said)(command)
    scale = "Target scale: canebench scales. Else the fitting's own; at first the ledger's, or harmonic."
    reference = "Drones that follow low A, or a fixed low A such as a band's; else the same."
    command = click.option("--reference", callback=reference_from, metavar="drones|HERTZ", help=reference)(
        command
    )
    return click.option("--scale", metavar="NAME", help=scale)(command)
