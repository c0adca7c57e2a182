"""`canebench plan`: from a take to a setting, one act at a time."""

from __future__ import annotations

import json
from pathlib import Path

import click

from canebench.cli.options.numbers import COUNT, NUMBER
from canebench.cli.options.reference import FOLLOW, aim_options
from canebench.cli.options.setting_options import done_from, setting_options, told_without
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
@click.option(
    "--chanter",
    "chanter_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The chanter's sizes, else the generic ones. A file to start from: canebench chanter --toml.",
)
@click.option("--scale", metavar="NAME", help="Target scale: canebench scales. The default is harmonic.")
@aim_options
@click.option("--step", "step_mm", type=NUMBER, metavar="MM", help="The smallest move of the seat [0.25].")
@click.option("--strips", "most_strips", type=COUNT, metavar="N", help="How many holes may bear tape [8].")
@click.option("--pinches-left", type=COUNT, metavar="N", help="How often the reed may still be pinched [0].")
@click.option("--thread", "thread_mm", type=NUMBER, metavar="MM", help="Thickness of the hemp thread [0.25].")
@click.option(
    "--inches-per-mm",
    type=NUMBER,
    metavar="INCHES",
    help="Length of hemp that raised your reed by a millimetre, if you know: it replaces the estimate.",
)
@click.option(
    "--svg", type=click.Path(path_type=Path), metavar="FILE", help="Write the beam, now and planned."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object (canebench.plan/2).")
def command(
    *,
    take: Path | None,
    fitting_path: Path | None,
    done: int,
    seat_mm: float | None,
    tape_mm: dict[str, float] | None,
    pinches: int | None,
    chanter_path: Path | None,
    scale: str | None,
    reference: str | float | None,
    svg: Path | None,
    as_json: bool,
    **bounds: float | int | None,
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
    from canebench.base.scales import scale_named  # noqa: PLC0415
    from canebench.bench.acts.fitting.plan_take import PlanWanted, plan_take  # noqa: PLC0415

    wanted = PlanWanted(
        chanter_path=chanter_path,
        scale=None if scale is None else scale_named(scale),
        reference_hz=reference if isinstance(reference, float) else None,
        follow_low_a=reference == FOLLOW,
        bounds={name: value for name, value in bounds.items() if value is not None},
    )
    done_now = done_from(done=done, seat_mm=seat_mm, tape_mm=tape_mm, pinches=pinches)
    plan = plan_take(take, fitting_path=fitting_path, wanted=wanted, done=done_now)
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
