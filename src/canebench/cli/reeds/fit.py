"""`canebench fit`: measure a take of a reed, keep it with its setting, and plan on."""

from __future__ import annotations

import json
import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from canebench.base.errors import DoubtError, InputError
from canebench.base.parsing import number_from
from canebench.cli.failure import REFUSED
from canebench.cli.options.ledger_options import INSIST, writes
from canebench.cli.options.reference import aim_options
from canebench.cli.options.room_options import of_take
from canebench.cli.options.setting_options import done_from, note_from, setting_options
from canebench.cli.text.words import paragraph, show, width

if TYPE_CHECKING:
    from collections.abc import Iterator

    from canebench.bench.acts.fitting.fit_reed import Fitted


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
@click.option("--chanter", required=True, metavar="NAME", help="The chanter; a new name is a new chanter.")
@click.option(
    "--sizes", type=click.Path(path_type=Path), metavar="FILE", help="The chanter's sizes, if measured."
)
@click.option("--player", metavar="NAME", help="Who blew it.")
@setting_options
@click.option("--scale", default="harmonic", show_default=True, metavar="NAME", help="Target scale.")
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
    chanter: str,
    sizes: Path | None,
    player: str | None,
    done: int,
    seat_mm: float | None,
    tape_mm: dict[str, float] | None,
    pinches: int | None,
    scale: str,
    reference: str | float | None,
    deeper_mm: float | None,
    higher_mm: float | None,
    insist: bool,
    ledger_url: str | None,
    who: str | None,
    as_json: bool,
    **conditions: float | None,
) -> None:
    """Measure TAKE, keep it with its setting, say what the last act did, and plan the next."""
    if (take is None) == (not typed):
        raise click.UsageError("Give a take, or --typed readings.", ctx=click.get_current_context())
    if as_typed and not typed:
        raise click.UsageError("--as-typed is about --typed readings.", ctx=click.get_current_context())
    from canebench.base.scales import scale_named  # noqa: PLC0415 - help need not wait for numerics
    from canebench.bench.acts.fitting.fit_reed import Place, Wish, fit_reed  # noqa: PLC0415
    from canebench.bench.acts.fitting.type_take import AsTyped, Typed  # noqa: PLC0415
    from canebench.bench.acts.ledger import takes_folder, the_ledger, the_writer  # noqa: PLC0415
    from canebench.bench.acts.reeds.chanters import keep_chanter  # noqa: PLC0415
    from canebench.fitting.limits import Limits  # noqa: PLC0415

    usual = Limits()
    wish = Wish(
        scale=scale_named(scale),
        reference_hz=reference if isinstance(reference, float) else None,
        limits=Limits(
            deeper_mm=usual.deeper_mm if deeper_mm is None else deeper_mm,
            higher_mm=usual.higher_mm if higher_mm is None else higher_mm,
        ),
        **conditions,
    )
    ledger, writer = the_ledger(ledger_url), the_writer(who)
    keep_chanter(ledger, chanter, who=writer, sizes=sizes)
    readings = {n: Typed(value=v, unit=u) for n, (v, u) in typed.items()}
    with _own_words():
        fitted = fit_reed(
            ledger,
            take if take is not None else AsTyped(readings) if as_typed else readings,
            place=Place(reed=reed, chanter=chanter, player=player),
            who=writer,
            done=done_from(done=done, seat_mm=seat_mm, tape_mm=tape_mm, pinches=pinches),
            wish=wish,
            takes_folder=takes_folder(ledger_url),
            insist=insist,
        )
    give(fitted, as_json=as_json)


@contextmanager
def _own_words() -> Iterator[None]:
    """What a person can do about typed readings, by this command's options."""
    from canebench.bench.acts.fitting.type_take import NoPitchError  # noqa: PLC0415

    try:
        yield
    except DoubtError as doubt:
        nearest = "the reading put right, or --as-typed where it is right"
        raise DoubtError(
            field=doubt.field, given=doubt.given, allowed=doubt.allowed, nearest=nearest
        ) from doubt
    except NoPitchError as error:
        raise NoPitchError(nearest="--reference HERTZ, the pitch that the meter was set to") from error


def give(fitted: Fitted, *, as_json: bool) -> None:
    """The report, what the act before did, and the plan; a refused take ends with its exit code."""
    from canebench.bench.views.wire.after import after_object  # noqa: PLC0415
    from canebench.bench.views.wire.measurement import report_object  # noqa: PLC0415
    from canebench.bench.views.wire.plan import plan_object  # noqa: PLC0415
    from canebench.cli.text.plan_text import after_text, plan_text  # noqa: PLC0415
    from canebench.cli.text.report_text import report_text  # noqa: PLC0415

    if as_json:
        found = {
            "measurement": report_object(fitted.report),
            "after_act": None if fitted.after is None else after_object(fitted.after),
            "plan": None if fitted.plan is None else plan_object(fitted.plan),
            "take": fitted.take_id,
        }
        click.echo(json.dumps(found, indent=2, allow_nan=False))
    else:
        show(report_text(fitted.report, title=None, encoding=sys.stdout.encoding or "ascii"))
        if fitted.after is not None:
            show("\n" + after_text(fitted.after))
        if fitted.plan is not None:
            show("\n" + plan_text(fitted.plan, fitting_path=None))
        if fitted.take_id is not None:
            show("\n" + paragraph(f"Kept as take {fitted.take_id}.", columns=width()))
    if fitted.report.measurement.refused:
        click.get_current_context().exit(REFUSED)
