"""Run the command in this process."""

from __future__ import annotations

from typing import TYPE_CHECKING

from click.testing import CliRunner

from canebench.cli.main import cli

if TYPE_CHECKING:
    from click.testing import Result


def run(*arguments: str, env: dict[str, str] | None = None) -> Result:
    """The result of `canebench` with these arguments; an error that is not one of ours is raised."""
    result = CliRunner().invoke(cli, list(arguments), prog_name="canebench", env=env)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result
