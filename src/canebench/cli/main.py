"""The command `canebench`. Subcommands are imported when they are run: help must come at once."""

from __future__ import annotations

import os
import sys
from difflib import get_close_matches
from importlib import import_module
from keyword import iskeyword
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, NoReturn

import click

from canebench import __version__
from canebench.base.errors import CanebenchError
from canebench.cli import failure
from canebench.cli.text.words import show

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Each command's line in the list, by room: its module is canebench.cli.<room>.<name>, the command in it
#: `command`.
_ROOMS: Final[Mapping[str, Mapping[str, str]]] = {
    "takes": {
        "chanter": "Show a chanter's sizes and what a millimetre does on it.",
        "conditions": "Write down the room in which a take was played, or list the takes' rooms.",
        "measure": "Measure a take and say the one thing to do next.",
        "plan": "Plan seat and tape from a take, one act at a time.",
        "scales": "List the target scales and where each was published.",
        "synth": "Render a take whose true pitches are known.",
    },
    "reeds": {
        "card": "Print a reed's setting card, A6.",
        "care": "How long one may still play at a level, by published rules.",
        "choose": "Which reeds suit a player now, and why.",
        "drone": "Mark a drone's pin and note where it stands, or list the drones.",
        "ease": "Write down a pinch, which counts for a reed's whole life.",
        "fit": "Measure a take of a reed, keep it with its setting, and plan on.",
        "labels": "Print labels for reeds: number and code.",
        "lot": "Take in a lot of reeds, or list the lots.",
        "move": "Move a reed to another state: on trial, settled, retired, …",
        "play": "Write down minutes of playing, and how strong the reed is after.",
        "player": "Tell what a player blows now, or list the players.",
        "reed": "List the reeds, or tell one reed's whole story.",
        "rest": "Let a mouth-tested reed rest before another mouth may.",
        "spell": "List the spells of playing, mend one, or take it back.",
        "strength": "Write down how strong a reed is.",
    },
    "ahead": {
        "calendar": "Who breaks in which reed when, towards a date.",
        "forecast": "What a reed or a lot will become, and how often that was true.",
        "spares": "Who plays which settled reed, which spare lies ready, and who lacks one.",
        "today": "What needs somebody today.",
        "worth": "How a lot turned out, beside another, and what to order.",
    },
    "upkeep": {
        "backup": "Back up ledger and recordings into a new folder.",
        "demo": "Make or remove an invented band's season to try things on.",
        "doctor": "Look whether this bench is in order: ledger, disk, sound, print, browser.",
        "export": "Write a table, or everything, to CSV, JSON, Parquet or XLSX.",
        "history": "What was done, by whom and when.",
        "import": "Bring rows in from CSV, JSON, Parquet or XLSX, all or none.",
        "restore": "Put a backup in the ledger's place; what was there is kept.",
        "settings": "What a band settles once: pitch, scale, units, time zone, usual chanter and player.",
        "serve": "Open the bench in a browser on this machine.",
        "undo": "Take back the last act, or the one with this number.",
        "verify": "Look whether a backup is whole, to the last bit.",
    },
}
#: The same in one list, by name.
COMMANDS: Final[Mapping[str, str]] = MappingProxyType(
    dict(sorted((name, line) for lines in _ROOMS.values() for name, line in lines.items()))
)

SHORT: Final = """\
canebench – from a box of new cane reeds to nine notes in tune with the drones.

  canebench serve                       the bench, in your browser
  canebench demo --serve                the same on an invented season, to try things on
  canebench measure take.wav            a slow scale of yours, drones on or off

All commands: canebench --help
"""


# Our matrices are small: a second BLAS thread costs more than it brings. Read when numerics are imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


class Doors(click.Group):
    """A group whose commands are imported only when run, and whose failures are sentences."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names, known without an import."""
        del ctx
        return list(COMMANDS)

    @staticmethod
    def module_of(name: str) -> str:
        """The module of a command: one whose name Python keeps for itself has an underscore after it."""
        room = next(room for room, lines in _ROOMS.items() if name in lines)
        return f"canebench.cli.{room}.{name}{'_' * iskeyword(name)}"

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command of that name."""
        del ctx
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(self.module_of(cmd_name)).command
        command.short_help = COMMANDS[cmd_name]
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does it, with the nearest name where there is none of that name."""
        if args and not args[0].startswith("-") and args[0] not in COMMANDS:
            close = get_close_matches(args[0], COMMANDS, n=1, cutoff=0.4)
            advice = f" Did you mean {close[0]!r}?" if close else f" There are {', '.join(COMMANDS)}."
            ctx.fail(f"No such command {args[0]!r}.{advice}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list of commands, without importing them."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def main(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Run, turn every failure we know into a sentence, and end with a stable exit code."""
        arguments = args[0] if args else kwargs.get("args")
        as_json = "--json" in (sys.argv[1:] if arguments is None else arguments)
        try:
            code = super().main(*args, **{**kwargs, "standalone_mode": False})
        except (CanebenchError, click.ClickException) as error:
            code = failure.tell(error, as_json=as_json)
        except (click.Abort, KeyboardInterrupt):
            code = failure.cancelled(as_json=as_json)
        sys.exit(code or 0)


@click.group(
    cls=Doors,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=(
        "Exit codes: 0 done, 2 usage, 4 input invalid, 5 not found, 6 measurement refused, "
        "7 ledger, 8 changed meanwhile, 130 cancelled."
    ),
)
@click.version_option(__version__, prog_name="canebench")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """From a box of new cane reeds to nine notes in tune with the drones."""
    if ctx.invoked_subcommand is None:
        show(SHORT)


def main() -> NoReturn:
    """Entry point of the command."""
    cli.main(prog_name="canebench")
