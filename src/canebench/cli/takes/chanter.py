"""`canebench chanter`: a chanter's sizes, and what a millimetre does on it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from canebench.cli.text.words import paragraph, show, strong, table, width

if TYPE_CHECKING:
    from canebench.base.uncertain import Uncertain


@click.command(
    "chanter",
    epilog="Example: canebench chanter --toml > mine.toml, edit it, then canebench chanter mine.toml",
)
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option(
    "--fitting",
    "fitting_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The chanter of this fitting, as its takes have taught it.",
)
@click.option("--toml", "as_toml", is_flag=True, help="Print the chanter's file itself, to start one from.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object (canebench.chanter-effects/1).")
def command(*, file: Path | None, fitting_path: Path | None, as_toml: bool, as_json: bool) -> None:
    """Show what seat, tape, a pinch and warmth do to each note of a chanter.

    Of FILE, of a fitting, or of the generic chanter: invented sizes that stand in for one that nobody
    measured.
    """
    if file is not None and fitting_path is not None:
        raise click.UsageError("Give a chanter's file or --fitting, not both.")
    from canebench.bench.acts.fitting.fit_request import FitRequest  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.fitting.fitting import Fitting  # noqa: PLC0415
    from canebench.bench.acts.fitting.fitting_file import load_fitting  # noqa: PLC0415
    from canebench.bench.views.chanter_effects import chanter_effects  # noqa: PLC0415

    fitting = load_fitting(fitting_path) if fitting_path is not None else FitRequest(sizes=file).on(Fitting())
    if as_toml:
        show(fitting.chanter.text)
        return
    effects = chanter_effects(fitting)
    if as_json:
        from canebench.bench.views.wire.plan import effects_object  # noqa: PLC0415

        click.echo(json.dumps(effects_object(fitting, effects), indent=2, allow_nan=False))
        return
    notes = list(effects[-1].cents)
    rows = [(e.change, *(_cell(e.cents.get(note)) for note in notes)) for e in effects]
    chanter = fitting.chanter.chanter
    count = f"{len(fitting.takes)} take{'s' if len(fitting.takes) > 1 else ''}"
    takes = f"fitted to {count}" if fitting.takes else "no take yet"
    show(strong(f"The {chanter.name} chanter") + "\n")
    intro = (
        f"{chanter.length_mm:g} mm from throat to sole; sizes: {fitting.chanter.source}; {takes}. "
        "Cents by which each note moves, with one standard uncertainty."
    )
    show(paragraph(intro, columns=width()) + "\n")
    show(table(("change", *notes), rows, columns=200))


def _cell(value: Uncertain | None) -> str:
    if value is None:
        return "–"
    return value.text("", signed=True).replace(" (± not estimated)", "").strip()
