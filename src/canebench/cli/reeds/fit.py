"""`canebench fit`: measure a take of a reed, keep it with its setting, and plan on."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from canebench.base.errors import InputError
from canebench.base.parsing import number_from
from canebench.cli.failure import REFUSED
from canebench.cli.options.ledger_options import INSIST, writes
from canebench.cli.options.reference import aim_options
from canebench.cli.options.room_options import of_take
from canebench.cli.options.setting_options import note_from, request_from, setting_options, told_without
from canebench.cli.text.words import paragraph, show, width

if TYPE_CHECKING:
    from canebench.bench.acts.fitting.one_round import Fitted


def typed_from(
    ctx: click.Context, param: click.Parameter, values: tuple[str, ...]
) -> dict[str, tuple[float, str]]:
    """`NOTE=HERTZ`, or `NOTE=CENTSc`; a decimal comma will do."""
    found = {}
    for value in values:
        note, _, size = value.rpartition("=")
        text = size.strip().lower()
        unit = "cents" if text.endswith(("c", "cents", "ct")) else "Hz"
        bare = text.removesuffix("hz").removesuffix("cents").removesuffix("ct").removesuffix("c")
        try:
            number = number_from(bare, "reading")
        except InputError as error:
            sentence = f"{value!r}: like 'low A=478.2' for hertz, or 'E=-3c' for cents."
            raise click.BadParameter(sentence, ctx, param) from error
        found[note_from(note)] = (number, unit)
    return found


@click.command(
    "fit",
    epilog="Example: canebench fit take.wav --reed 7 --chanter 'number 3' --deeper 1.5",
)
@click.argument("take", required=False, type=click.Path(path_type=Path))
@click.option(
    "--typed",
    multiple=True,
    metavar="NOTE=VALUE",
    callback=typed_from,
    help="Instead of a take: readings of any meter, like 'low A=478.2' (Hz) or 'E=-3c' (cents); once a note.",
)
@click.option("--as-typed", is_flag=True, help="Take typed readings even where they look like a slip.")
@click.option("--reed", required=True, metavar="NUMBER", help="The number on its binding.")
@click.option(
    "--chanter",
    metavar="NAME",
    help="The chanter; a new name is a new chanter. Else the reed's last one, else the usual one.",
)
@click.option(
    "--sizes", type=click.Path(path_type=Path), metavar="FILE", help="The chanter's sizes, if measured."
)
@click.option("--player", metavar="NAME", help="Who blew it; else whose it is, else the usual player.")
@click.option(
    "--from",
    "from_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Bring in the fitting in this file first, as canebench plan --fitting keeps one.",
)
@click.option(
    "--to",
    "to_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write the fitting into this file too, for canebench plan --fitting.",
)
@setting_options
@aim_options
@of_take
@INSIST
@writes
def command(
    *,
    take: Path | None,
    typed: dict[str, tuple[float, str]],
    as_typed: bool,
    reed: str,
    chanter: str | None,
    sizes: Path | None,
    player: str | None,
    from_file: Path | None,
    to_file: Path | None,
    insist: bool,
    ledger_url: str | None,
    who: str | None,
    as_json: bool,
    **asked: Any,
) -> None:
    """Measure TAKE, keep it with its setting, say what the last act did, and plan the next.

    With --from or --to it may go without a take or --typed readings, and plans from the takes so far.
    """
    ctx = click.get_current_context()
    _check_told(ctx, take, typed, as_typed=as_typed, with_file=bool(from_file or to_file))
    # Imported here so that help and typing errors need not wait for numerics.
    from canebench.bench.acts.fitting.begin_fitting import usual_place  # noqa: PLC0415
    from canebench.bench.acts.fitting.fit_reed import fit_reed  # noqa: PLC0415
    from canebench.bench.acts.fitting.type_take import AsTyped, Typed, answered_by  # noqa: PLC0415
    from canebench.bench.acts.ledger import takes_folder, the_ledger, the_writer  # noqa: PLC0415
    from canebench.bench.acts.reeds.chanters import keep_chanter  # noqa: PLC0415

    readings = {note: Typed(value=value, unit=unit) for note, (value, unit) in typed.items()}
    request = request_from(take or (AsTyped(readings) if as_typed else readings) or None, **asked)
    ledger, writer = the_ledger(ledger_url), the_writer(who)
    place = usual_place(ledger, reed, chanter=chanter, player=player)
    if chanter is None:
        show(paragraph(f"In {place.chanter}; another: --chanter NAME.", columns=width()), err=True)
    if request.heard is not None or from_file is not None or sizes is not None:
        keep_chanter(ledger, place.chanter, who=writer, sizes=sizes)
    with answered_by(
        doubt="the reading put right, or --as-typed where it is right",
        no_pitch="--reference HERTZ, the pitch that the meter was set to",
    ):
        fitted = fit_reed(
            ledger,
            request,
            place=place,
            who=writer,
            takes_folder=takes_folder(ledger_url),
            from_file=from_file,
            to_file=to_file,
            insist=insist,
        )
    give(fitted, as_json=as_json)


def _check_told(
    ctx: click.Context,
    take: Path | None,
    typed: dict[str, tuple[float, str]],
    *,
    as_typed: bool,
    with_file: bool,
) -> None:
    """A usage error where what was told does not go together."""
    if take is not None and typed:
        raise click.UsageError("Give a take or --typed readings, not both.", ctx=ctx)
    if take is None and not typed and not with_file:
        raise click.UsageError(
            "Give a take, or --typed readings; or a fitting's file, --from or --to.", ctx=ctx
        )
    if as_typed and not typed:
        raise click.UsageError("--as-typed is about --typed readings.", ctx=ctx)
    if take is None and not typed:
        told_without(ctx, "a take")


def give(fitted: Fitted, *, as_json: bool) -> None:
    """The report, what the act before did, and the plan; a refused take ends with its exit code."""
    from canebench.bench.views.wire.after import after_object  # noqa: PLC0415
    from canebench.bench.views.wire.measurement import report_object  # noqa: PLC0415
    from canebench.bench.views.wire.plan import plan_object  # noqa: PLC0415
    from canebench.cli.text.plan_text import after_text, plan_text  # noqa: PLC0415
    from canebench.cli.text.report_text import report_text  # noqa: PLC0415

    if as_json:
        found = {
            "measurement": None if fitted.report is None else report_object(fitted.report),
            "after_act": None if fitted.after is None else after_object(fitted.after),
            "plan": None if fitted.plan is None else plan_object(fitted.plan),
            "take": fitted.take_id,
        }
        click.echo(json.dumps(found, indent=2, allow_nan=False))
    else:
        if fitted.report is not None:
            encoding, planned = sys.stdout.encoding or "ascii", fitted.plan is not None
            show(report_text(fitted.report, title=None, encoding=encoding, planned=planned))
        if fitted.after is not None:
            show("\n" + after_text(fitted.after))
        if fitted.plan is not None:
            show("\n" + plan_text(fitted.plan, fitting_path=None))
        if fitted.take_id is not None:
            show("\n" + paragraph(f"Kept as take {fitted.take_id}.", columns=width()))
    if fitted.refusal is not None:
        click.get_current_context().exit(REFUSED)
