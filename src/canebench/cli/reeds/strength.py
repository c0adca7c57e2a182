"""`canebench strength`: write down how strong a reed is, or all reeds of a lot from a list."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from canebench.base.pressure import PressureUnit
from canebench.cli.options.ledger_options import INSIST, print_json, tell, writes
from canebench.cli.options.strength_options import compared
from canebench.cli.text.words import paragraph, show, width

if TYPE_CHECKING:
    from canebench.bench.acts.ledger import Ledger
    from canebench.bench.acts.reeds.grading.grade_lines import LinesGraded

#: How the command ends where a line was refused: as for any input that cannot be used.
_REFUSED = 4


@click.command(
    "strength",
    epilog="Example: canebench strength 7 --onset '24 inH2O' --playing '28 inH2O' --choke '36 inH2O'",
)
@click.argument("number", required=False)
@click.option(
    "--onset", metavar="PRESSURE", help="Where it begins to sound, with the unit: 24 inH2O, 60 mbar."
)
@click.option("--playing", metavar="PRESSURE", help="Where it plays well.")
@click.option("--dropout", metavar="PRESSURE", help="Where it falls silent again.")
@click.option("--choke", metavar="PRESSURE", help="Where it shuts or doubles.")
@click.option("--player", metavar="NAME", help="Who blew it.")
@compared
@click.option("--lot", metavar="NAME", help="Instead of NUMBER: grade the reeds of this lot; with --from.")
@click.option(
    "--from",
    "listed",
    type=click.Path(exists=True, dir_okay=False, allow_dash=True, path_type=Path),
    metavar="FILE|-",
    help="A list of lines “number reading”, such as 7 28 inH2O; - for standard input.",
)
@click.option(
    "--unit",
    type=click.Choice([one.value for one in PressureUnit]),
    help="What bare numbers of the list are in.",
)
@INSIST
@writes
def command(
    *,
    number: str | None,
    player: str | None,
    by_mouth: str | None,
    than: str | None,
    lot: str | None,
    listed: Path | None,
    unit: str | None,
    insist: bool,
    ledger_url: str | None,
    who: str | None,
    as_json: bool,
    **pressures: str | None,
) -> None:
    """Write down the strength of the reed NUMBER: pressures, or how it compares by mouth.

    With --lot and --from, that of many reeds in one go: what will do is written down, the rest is told.
    """
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415 - help need not wait
    from canebench.bench.acts.reeds.reed_days import log_strength  # noqa: PLC0415

    given = {moment: text for moment, text in pressures.items() if text is not None}
    if (number is None) == (lot is None) or (lot is None) != (listed is None):
        raise click.UsageError("Either the NUMBER of a reed, or --lot with --from.")
    if lot is not None and listed is not None:
        if given or by_mouth or than:
            raise click.UsageError("With --lot the readings stand in the list.")
        ledger = the_ledger(ledger_url)
        _grade(ledger, lot, listed, unit, player, insist=insist, who=the_writer(who), as_json=as_json)
        return
    done = log_strength(
        the_ledger(ledger_url),
        str(number),
        given,
        who=the_writer(who),
        player=player,
        by_mouth=by_mouth,
        than=than,
        insist=insist,
    )
    tell(done, as_json=as_json)


def _grade(
    ledger: Ledger,
    lot: str,
    listed: Path,
    unit: str | None,
    player: str | None,
    *,
    insist: bool,
    who: str,
    as_json: bool,
) -> None:
    """Grade a lot from a list; ends with 4 where a line was refused."""
    from canebench.bench.acts.reeds.grading.grade_lines import grade_lines  # noqa: PLC0415

    text = sys.stdin.read() if str(listed) == "-" else listed.read_text(encoding="utf-8", errors="replace")
    known = None if unit is None else PressureUnit(unit)
    done = grade_lines(ledger, lot, text, who=who, unit=known, player=player, insist=insist)
    if as_json:
        print_json(done)
    else:
        _show(done)
    if done.refused:
        click.get_current_context().exit(_REFUSED)


def _show(done: LinesGraded) -> None:
    show(paragraph(f"{done.said[:1].upper()}{done.said[1:] or 'Nothing was written down'}.", columns=width()))
    for one in done.refused:
        show(paragraph(f"Line {one.line}, {one.text.strip()}: {one.why}", columns=width()), err=True)
