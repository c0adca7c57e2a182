"""Options that say which ledger, and who writes in it; and how an act that was done is told."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, TypeVar

import click

from canebench.cli.text.words import labelled, paragraph, show, width

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.bench.acts.reeds.reed_days import ReedDone

Command = TypeVar("Command", bound="Callable[..., Any]")

LEDGER = click.option(
    "--ledger",
    "ledger_url",
    metavar="FILE|URL",
    help="The ledger: a file, or postgresql://…; else CANEBENCHLEDGER, else your own.",
)
WHO = click.option("--who", metavar="NAME", help="Who does this; else CANEBENCH_WHO, else your login.")
INSIST = click.option(
    "--insist",
    is_flag=True,
    help="Do what is advised against all the same; that is written down. Nothing lifts a ceiling.",
)
_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


def reads(command: Command) -> Command:
    """Adds --ledger and --json."""
    return LEDGER(_JSON(command))


def writes(command: Command) -> Command:
    """Adds --ledger, --who and --json."""
    return LEDGER(WHO(_JSON(command)))


def tell(done: ReedDone, *, as_json: bool) -> None:
    """What was written down, and the cautions that belong to it."""
    if as_json:
        cautions = [caution.say for caution in done.cautions]
        click.echo(json.dumps({"said": done.said, "cautions": cautions}, indent=2, ensure_ascii=False))
        return
    show(paragraph(done.said, columns=width()))
    for caution in done.cautions:
        show(labelled("Care", caution.say, columns=width()))


def print_json(value: object) -> None:
    """JSON as it stands; records within it by their fields."""
    click.echo(json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False, default=_plain))


def _plain(value: object) -> object:
    from dataclasses import asdict, is_dataclass  # noqa: PLC0415

    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    raise TypeError(f"{value!r} has no JSON form")
