"""`canebench measure`: a take, through to the one next act."""

from __future__ import annotations

import json
import sys
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

import click

from canebench.cli.failure import REFUSED
from canebench.cli.options.numbers import NUMBER
from canebench.cli.options.reference import hertz_from
from canebench.cli.options.setting_options import done_from, setting_options, told_without
from canebench.cli.text.words import show

if TYPE_CHECKING:
    from canebench.bench.acts.fitting.after_act import AfterAct
    from canebench.bench.acts.fitting.report import TakeReport

_Named = Literal["auto", "drones", "low-a"]
_NAMED: Final[dict[str, _Named]] = {"auto": "auto", "drones": "drones", "low-a": "low-a"}


def reference_from(ctx: click.Context, param: click.Parameter, value: str) -> _Named | float:
    """One of the three names as it is, anything else as a number of hertz."""
    if value in _NAMED:
        return _NAMED[value]
    close = get_close_matches(value, _NAMED, n=1)
    advice = f" Did you mean {close[0]!r}?" if close else ""
    otherwise = f"{value!r} is none of {', '.join(_NAMED)} nor a number of hertz.{advice}"
    return hertz_from(ctx, param, value, otherwise=otherwise)


@click.command(
    "measure",
    epilog="Example: canebench measure reed7.wav --svg reed7.svg --title 'Reed 7 in chanter 3'",
)
@click.argument("take", required=False, type=click.Path(path_type=Path))
@click.option("--demo", is_flag=True, help="Measure the take that comes with canebench instead.")
@click.option("--svg", type=click.Path(path_type=Path), metavar="FILE", help="Write the beam as a picture.")
@click.option("--title", metavar="TEXT", help="What stands above the picture; the file's name by default.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object (canebench.measurement/1).")
@click.option(
    "--scale", default="harmonic", show_default=True, metavar="NAME", help="Target scale: canebench scales."
)
@click.option(
    "--reference",
    callback=reference_from,
    default="auto",
    show_default=True,
    metavar="auto|drones|low-a|HERTZ",
    help="What cents are counted from: the drones where they sound and else low A, or a fixed low A.",
)
@click.option(
    "--fitting",
    "fitting_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="After an act of its plan: compare with what was predicted, and keep what this take teaches.",
)
@setting_options
@click.option(
    "--low-a-near", "low_a_near_hz", type=NUMBER, metavar="HERTZ", help="Roughly where low A is, if unusual."
)
def command(
    *,
    take: Path | None,
    demo: bool,
    svg: Path | None,
    title: str | None,
    as_json: bool,
    scale: str,
    reference: _Named | float,
    fitting_path: Path | None,
    done: int,
    seat_mm: float | None,
    tape_mm: dict[str, float] | None,
    pinches: int | None,
    low_a_near_hz: float | None,
) -> None:
    """Measure TAKE, a recording of a slow scale, and say the one thing to do next.

    Any usual sound file will do, drones on or off. The table goes to standard output; nothing is kept but
    in the file of --fitting, and nothing leaves this machine. With --fitting, scale and reference are the
    fitting's own.
    """
    if demo == (take is not None):
        raise click.UsageError("Give one take, or --demo.", ctx=click.get_current_context())
    if fitting_path is None:
        told_without(click.get_current_context(), "--fitting FILE")
    # Imported here so that help and typing errors need not wait for numerics.
    from canebench.base.scales import scale_named  # noqa: PLC0415
    from canebench.bench.acts.fitting import measure_take as bench  # noqa: PLC0415

    if fitting_path is not None:
        if take is None:
            raise click.UsageError("--fitting needs a take.", ctx=click.get_current_context())
        from canebench.bench.acts.fitting.plan_take import measure_after  # noqa: PLC0415

        told = done_from(done=done, seat_mm=seat_mm, tape_mm=tape_mm, pinches=pinches)
        report, after = measure_after(take, fitting_path=fitting_path, done=told, low_a_near_hz=low_a_near_hz)
        kept = None if after is None else (after, fitting_path)
        give(report, svg=svg, title=title, as_json=as_json, after=kept)
        return
    target = scale_named(scale)
    if take is None:
        title = title or bench.DEMO_TITLE
        report = bench.measure_demo(scale=target, reference=reference, low_a_near_hz=low_a_near_hz)
    else:
        report = bench.measure_take(take, scale=target, reference=reference, low_a_near_hz=low_a_near_hz)
    give(report, svg=svg, title=title, as_json=as_json)


def give(
    report: TakeReport,
    *,
    svg: Path | None,
    title: str | None,
    as_json: bool,
    after: tuple[AfterAct, Path] | None = None,
) -> None:
    """Print the report and write its picture; a refused take is shown too and ends with its exit code.

    `after` is what an act was found to have done, and the fitting file that keeps it.
    """
    from canebench.bench.views.drawing.draw_beam import save_beam  # noqa: PLC0415
    from canebench.bench.views.wire.measurement import report_object  # noqa: PLC0415
    from canebench.cli.text.report_text import report_text  # noqa: PLC0415

    if as_json:
        found = report_object(report, after=None if after is None else after[0])
        click.echo(json.dumps(found, indent=2, allow_nan=False))
    else:
        show(report_text(report, title=title, encoding=sys.stdout.encoding or "ascii"))
        if after is not None:
            from canebench.cli.text.plan_text import after_text  # noqa: PLC0415

            show("\n" + after_text(after[0], fitting_path=after[1]))
    if svg is not None:
        save_beam(report, svg, title=title)
        show(f"The beam is drawn in {svg}\n", err=True)
    if report.measurement.refused:
        click.get_current_context().exit(REFUSED)
