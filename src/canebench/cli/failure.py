"""How a command ends when it cannot do what was asked: a sentence, a hint, a stable exit code."""

from __future__ import annotations

import json
import sys
from typing import Final

import click

from canebench.base.errors import CanebenchError, InputError
from canebench.cli.text.words import show

REFUSED: Final = 6
CANCELLED: Final = 130


def tell(error: CanebenchError | click.ClickException, *, as_json: bool) -> int:
    """Say on stderr what went wrong; returns the exit code."""
    if as_json:
        click.echo(json.dumps({"ok": False, "error": _object(error)}), err=True)
    elif isinstance(error, click.ClickException):
        error.show(file=sys.stderr)
    else:
        show(f"canebench: {error}\n", err=True)
    return error.exit_code if isinstance(error, click.ClickException) else error.exit_status


def cancelled(*, as_json: bool) -> int:
    """The reader stopped it."""
    if as_json:
        error = {"code": "cancelled", "message": "Stopped; nothing was written.", "hint": None}
        click.echo(json.dumps({"ok": False, "error": error}), err=True)
    else:
        show("canebench: stopped.\n", err=True)
    return CANCELLED


def _object(error: CanebenchError | click.ClickException) -> dict[str, str | None]:
    if isinstance(error, click.ClickException):
        context = getattr(error, "ctx", None)
        path = context.command_path if context is not None else "canebench"
        return {"code": "usage", "message": error.format_message(), "hint": f"{path} --help"}
    hint = error.nearest if isinstance(error, InputError) else None
    return {"code": error.code, "message": str(error), "hint": hint}
