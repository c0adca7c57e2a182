"""Options that tell a setting: how deep the reed sits, what tape covers, how much of a plan was done."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, TypeVar

import click
from click.core import ParameterSource

from canebench.base.errors import InputError
from canebench.base.fingering import HOLES
from canebench.base.parsing import number_from
from canebench.cli.options.numbers import COUNT, NUMBER

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.bench.acts.fitting.plan_take import PlanMade

Command = TypeVar("Command", bound="Callable[..., Any]")

_ALL: Final = "all"
_NONE: Final = "none"
_MOST_DIGITS: Final = 6
_OPTIONS: Final = {"done": "--done", "seat_mm": "--seat", "tape_mm": "--tape", "pinches": "--pinches"}


def tape_from(ctx: click.Context, param: click.Parameter, values: tuple[str, ...]) -> dict[str, float] | None:
    """`HOLE=MM`, repeated; `none`, alone for a bare chanter or before holes; None where nothing was said."""
    if not values:
        return None
    if set(values) == {_NONE}:
        return {}
    found: dict[str, float] = {}
    for value in values:
        if value == _NONE:
            continue
        hole, equals, size = value.rpartition("=")
        if note_from(hole) in found:
            raise click.BadParameter(f"{value!r}: the {note_from(hole)} hole is named twice.", ctx, param)
        try:
            found[note_from(hole)] = number_from(size.lower().strip().removesuffix("mm"), "tape")
        except InputError as error:
            sentence = f"{value!r}: like 'E=1.5', a hole and millimetres from its upper edge, or none."
            raise click.BadParameter(sentence, ctx, param) from error
        if not equals:
            raise click.BadParameter(f"{value!r}: like 'E=1.5', a hole and millimetres.", ctx, param)
    return {**dict.fromkeys(HOLES, 0.0), **found} if _NONE in values else found


def acts_from(ctx: click.Context, param: click.Parameter, value: str) -> int:
    """A number of acts, or `all`."""
    from canebench.bench.acts.fitting.plan_take import ALL  # noqa: PLC0415 - help need not wait for numerics

    if value == _ALL:
        return ALL
    # Not isdigit: a raised ² is a digit too. And no number that Python would not even read.
    if value.isdecimal() and len(value) <= _MOST_DIGITS:
        return int(value)
    raise click.BadParameter(f"{value!r}: a number of planned acts, or {_ALL}.", ctx, param)


def setting_options(command: Command) -> Command:
    """Adds --done, --seat, --tape and --pinches."""
    for option in reversed(
        (
            click.option(
                "--done",
                default="1",
                show_default=True,
                metavar="N|all",
                callback=acts_from,
                help="How many acts of the fitting's last plan were done before this take.",
            ),
            click.option(
                "--seat",
                "seat_mm",
                type=NUMBER,
                metavar="MM",
                help="How deep the reed sits now against a firm hand seat at the start; deeper is positive, "
                "from 4 mm higher to the bottom of the seat.",
            ),
            click.option(
                "--tape",
                "tape_mm",
                multiple=True,
                metavar="HOLE=MM",
                callback=tape_from,
                help="Tape there is now, from the hole's upper edge; once for each hole. Other strips stay; "
                "HOLE=0 says that one is off, none that all are.",
            ),
            click.option(
                "--pinches",
                type=COUNT,
                metavar="N",
                help="How often this reed was pinched since the first take.",
            ),
        )
    ):
        command = option(command)
    return command


def told_without(ctx: click.Context, needed: str) -> None:
    """A usage error where a setting was told although `needed`, which it would belong to, is missing."""
    told = [
        option
        for name, option in _OPTIONS.items()
        if ctx.get_parameter_source(name) is ParameterSource.COMMANDLINE
    ]
    if told:
        raise click.UsageError(f"{told[0]} tells how a take was set: it needs {needed}.", ctx=ctx)


def done_from(
    *, done: int, seat_mm: float | None, tape_mm: dict[str, float] | None, pinches: int | None
) -> PlanMade:
    """The options as one record."""
    from canebench.bench.acts.fitting.plan_take import PlanMade  # noqa: PLC0415

    return PlanMade(acts=done, seat_mm=seat_mm, tape_mm=tape_mm, pinches=pinches)


def note_from(name: str) -> str:
    """low-a, Low A and lowA are all low A; a name that is none is left for the error to show."""
    from canebench.base.notes import NOTES  # noqa: PLC0415

    def plain(text: str) -> str:
        return "".join(text.lower().replace("-", " ").replace("_", " ").split())

    return {plain(note): note for note in NOTES}.get(plain(name), name.strip())
