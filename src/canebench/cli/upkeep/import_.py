"""`canebench import`: rows in from files, looked over first, all of them or none."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from canebench.cli.options.ledger_options import begins, print_json
from canebench.cli.text.words import paragraph, show, strong, table, width

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from canebench.bench.acts.upkeep.exchange import Progress, TableFound

_SHOWN = 10


def mapping_from(
    ctx: click.Context, param: click.Parameter, values: tuple[str, ...]
) -> dict[str, str | None]:
    """`HEADER=COLUMN`, or `HEADER=` to leave a header out."""
    found: dict[str, str | None] = {}
    for value in values:
        header, equals, column = value.rpartition("=")
        if not equals or not header:
            raise click.BadParameter(f"{value!r}: like 'Box=name', or 'Notes=' to leave it out.", ctx, param)
        found[header] = column.strip() or None
    return found


@click.command(
    "import",
    epilog="Example: canebench import reeds.csv --preview, then without --preview",
)
@click.argument("path", type=click.Path(path_type=Path))
@click.option(
    "--table", "table_name", metavar="TABLE", help="Whose rows they are, where the file does not say."
)
@click.option(
    "--map",
    "mapping",
    multiple=True,
    metavar="HEADER=COLUMN",
    callback=mapping_from,
    help="What a header means; nothing after = leaves it out. Needs --table, or a file called like one.",
)
@click.option("--keep-ids", is_flag=True, help="Keep the file's ids: for a new ledger.")
@click.option(
    "--refuse-duplicates", is_flag=True, help="Refuse the file for a row that is there; else skip it."
)
@click.option("--preview", is_flag=True, help="Only look: what would come in, and what is amiss.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@begins
def command(
    *,
    path: Path,
    table_name: str | None,
    mapping: dict[str, str | None],
    keep_ids: bool,
    refuse_duplicates: bool,
    preview: bool,
    yes: bool,
    ledger_url: str | None,
    who: str | None,
    as_json: bool,
) -> None:
    """Bring rows in from the file or folder PATH in one act; it can be undone. A snapshot is kept before."""
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415
    from canebench.bench.acts.upkeep.exchange import (  # noqa: PLC0415 - help need not wait  # noqa: PLC0415
        ImportChoices,
        ImportRefusedError,
        bring_in,
        look_over,
        refused,
        sheets_of,
    )

    if as_json and not (preview or yes):
        raise click.UsageError("--json cannot ask: it needs --preview or --yes.")
    sheets = sheets_of(path, table=table_name)
    if mapping and len(sheets) != 1:
        raise click.UsageError("--map needs one table: name it with --table.")
    choices = ImportChoices(
        ids="kept" if keep_ids else "renumbered",
        duplicates="refuse" if refuse_duplicates else "skip",
        mapping={next(iter(sheets)): mapping} if mapping else {},
    )
    ledger = the_ledger(ledger_url)
    if preview or not yes:
        with _told("Looking") as progress:
            found = look_over(ledger, sheets, choices, progress=progress)
        give(found, as_json=as_json)
        if preview:
            return
        if refused(found, choices):
            raise ImportRefusedError(found)
        click.confirm("Bring them in?", abort=True, err=True)
    with _told("Bringing in") as progress:
        done = bring_in(
            ledger, sheets, choices, who=the_writer(who), said=f"brought in {path.name}", progress=progress
        )
    if as_json:
        print_json({"act": done.act_id, "written": done.written})
        return
    undo = "" if done.act_id is None else f" Undo: canebench undo {done.act_id}"
    rows = "1 row" if done.written == 1 else f"{done.written} rows"
    show(paragraph(f"{rows} came in.{undo}", columns=width()))


def give(found: Mapping[str, TableFound], *, as_json: bool) -> None:
    """What would come in, table by table, then what is amiss."""
    if as_json:
        print_json({name: _object(one) for name, one in found.items()})
        return
    counted = [
        (name, str(one.rows), str(one.fitting), str(one.duplicate_count), str(one.problem_count))
        for name, one in found.items()
    ]
    show(table(("table", "rows", "would come in", "there already", "amiss"), counted, columns=width()))
    for one in found.values():
        left_out = [m.header for m in one.matched if m.column is None and m.header.strip()]
        if left_out:
            show(paragraph(f"{one.table}: left out {', '.join(left_out)}.", columns=width()))
        if one.zoneless:
            times = "1 time says" if one.zoneless == 1 else f"{one.zoneless} times say"
            said = f"{one.table}: {times} no zone, and that is taken as UTC."
            show(paragraph(said, columns=width()))
        if one.since_now:
            show(paragraph(f"{one.table}: {one.since_now_said}.", columns=width()))
        for problem in one.problems[:_SHOWN]:
            show(paragraph(problem.sentence, columns=width()))
        if one.problem_count > _SHOWN:
            show(strong(f"… and {one.problem_count - _SHOWN} more.") + "\n")


def _object(one: TableFound) -> dict[str, Any]:
    return {
        "rows": one.rows,
        "fitting": one.fitting,
        "duplicates": one.duplicate_count,
        "problems": one.problem_count,
        "times_without_zone": one.zoneless,
        "since_now": one.since_now,
        "first_problems": [asdict(problem) for problem in one.problems[:100]],
        "headers": {m.header: None if m.column is None else m.column.name for m in one.matched},
    }


@contextmanager
def _told(label: str) -> Iterator[Progress | None]:
    """A bar on the terminal; nothing where nobody watches. Ctrl-C ends it, and nothing has changed."""
    if not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=1, label=label, file=sys.stderr, show_pos=True) as bar:

        def progress(done: int, total: int | None) -> None:
            bar.length = max(total or 0, done)
            bar.update(done - bar.pos)

        yield progress
