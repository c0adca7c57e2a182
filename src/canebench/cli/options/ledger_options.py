"""Options that say which ledger, and who writes in it; and how an act that was done is told."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from canebench.base.errors import NotFoundError
from canebench.cli.text.words import labelled, paragraph, show, width

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.bench.acts.reeds.reed_days import ReedDone

Command = TypeVar("Command", bound="Callable[..., Any]")


def _known(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """A ledger that was named is there: a slip of the finger makes no empty one."""
    del ctx, param
    if value:
        from canebench.bench.acts.ledger import check_there  # noqa: PLC0415 - help need not wait

        check_there(value)
    return value


def _known_or_new(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """The same, unless one says that a new one is meant: by --new, or asked at a terminal."""
    try:
        return _known(ctx, param, value)
    except NotFoundError as missing:
        if ctx.meta.get(_NEW):
            return value
        if not sys.stdin.isatty():
            said = f"{missing} To begin a new one there: --new"
            raise NotFoundError(said) from missing
        click.confirm(f"{missing} Begin a new one there?", abort=True, err=True)
        return value


def _note_new(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    del param
    ctx.meta[_NEW] = value


_NEW: Final = "canebench.new"


def _ledger(callback: Callable[..., str | None] | None) -> Callable[[Command], Command]:
    return click.option(
        "--ledger",
        "ledger_url",
        metavar="FILE|URL",
        callback=callback,
        help="The ledger: a file, or postgresql://…; else CANEBENCH_LEDGER, else your own.",
    )


NEW_LEDGER = _ledger(_known_or_new)
NEW = click.option(
    "--new",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_note_new,
    help="Begin a new ledger where --ledger names none; not asked then.",
)
WHO = click.option("--who", metavar="NAME", help="Who does this; else CANEBENCH_WHO, else your login.")
INSIST = click.option(
    "--insist",
    is_flag=True,
    help="Do what is advised against all the same; that is written down. Nothing lifts a ceiling.",
)
_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


def looks(command: Command) -> Command:
    """Adds --ledger, there or not, and --json."""
    return _ledger(None)(_JSON(command))


def reads(command: Command) -> Command:
    """Adds --ledger and --json."""
    return _ledger(_known)(_JSON(command))


def writes(command: Command) -> Command:
    """Adds --ledger, --who and --json."""
    return _ledger(_known)(WHO(_JSON(command)))


def begins(command: Command) -> Command:
    """Adds --ledger, --new, --who and --json: what a new ledger may begin with."""
    return NEW_LEDGER(NEW(WHO(_JSON(command))))


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
