"""`canebench plan`: from a take to a setting, one act at a time."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from canebench.cli.options.reference import aim_options
from canebench.cli.options.room_options import warmed
from canebench.cli.options.setting_options import request_from, setting_options, told_without
from canebench.cli.text.words import show


@click.command(
    "plan",
    epilog="Example: canebench plan reed7.wav --fitting reed7.json --deeper 1.5 --higher 2",
)
@click.argument("take", required=False, type=click.Path(path_type=Path))
@click.option(
    "--fitting",
    "fitting_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Keep takes and plan in this file, and learn from every take; without a take, plan from it again.",
)
@setting_options
@warmed
@click.option(
    "--chanter",
    "sizes",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The chanter's sizes, else the generic ones. A file to start from: canebench chanter --toml.",
)
@aim_options
@click.option(
    "--svg", type=click.Path(path_type=Path), metavar="FILE", help="Write the beam, now and planned."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object (canebench.plan/2).")
def command(
    *,
    take: Path | None,
    fitting_path: Path | None,
    svg: Path | None,
    as_json: bool,
    **asked: Any,
) -> None:
    """Plan seat and tape from TAKE, a recording of a slow scale, and print the acts in working order.

    Every act comes with the beam it should give, the reason, how to check and when to stop. Do one, then
    "canebench measure TAKE --fitting FILE": it compares, and learns how this chanter answers.
    """
    if take is None and fitting_path is None:
        raise click.UsageError("Give a take, or --fitting FILE.", ctx=click.get_current_context())
    if take is None:
        told_without(click.get_current_context(), "a take")
    # Imported here so that help and typing errors need not wait for numerics.
    from canebench.bench.acts.fitting.one_round import plan_take  # noqa: PLC0415

    plan = plan_take(request_from(take, **asked), fitting_path=fitting_path)
    if as_json:
        from canebench.bench.views.wire.plan import plan_object  # noqa: PLC0415

        click.echo(json.dumps(plan_object(plan), indent=2, allow_nan=False))
    else:
        from canebench.cli.text.plan_text import plan_text  # noqa: PLC0415

        show(plan_text(plan, fitting_path=fitting_path))
    if svg is not None:
        from canebench.bench.views.drawing.draw_plan import save_plan  # noqa: PLC0415

        save_plan(plan, svg)
        show(f"The beam, now and planned, is drawn in {svg}\n", err=True)
