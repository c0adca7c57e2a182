"""`canebench care`: how long one may still play at a level, by published rules, and the usual cautions."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import print_json
from canebench.cli.options.numbers import COUNT, NUMBER
from canebench.cli.text.words import labelled, paragraph, show, table, width


@click.command(
    "care",
    epilog="Example: canebench care --level 104 --minutes 30 --players 8 --before 60 --before 90",
)
@click.option(
    "--level", "level_dba", type=NUMBER, required=True, metavar="DB", help="One player at the ear, dB(A)."
)
@click.option(
    "--players", type=COUNT, default=1, show_default=True, metavar="N", help="How many sound together."
)
@click.option("--minutes", type=NUMBER, default=0.0, metavar="MIN", help="Played so today [0].")
@click.option(
    "--before", type=NUMBER, multiple=True, metavar="MIN", help="On another day of this week; repeat it."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    *, level_dba: float, players: int, minutes: float, before: tuple[float, ...], as_json: bool
) -> None:
    """Say what a day and a week of playing still hold for the ears.

    By NIOSH 98-126, OSHA 1910.95 and EU 2003/10/EC. No medical advice; local rules come first.
    """
    from canebench.bench.views.hearing_dose import hearing  # noqa: PLC0415 - help need not wait

    found = hearing(level_dba=level_dba, players=players, minutes_today=minutes, days_before=before)
    if as_json:
        rules = [
            {
                "rule": rule.name,
                "dose_percent": exposure.dose_percent,
                "average_dba": exposure.average_dba,
                "left_today_min": left.today_min,
                "left_week_min": left.week_min,
            }
            for rule, exposure, left in found.by_rule
        ]
        print_json(
            {"level_dba": found.level_dba, "rules": rules, "cautions": [c.say for c in found.cautions]}
        )
        return
    show(paragraph(f"{found.level_dba:.1f} dB(A) at the ear.", columns=width()) + "\n")
    rows = [
        (
            rule.name,
            f"{exposure.dose_percent:.0f} %",
            f"{left.today_min:.0f} min",
            "–" if left.week_min is None else f"{left.week_min:.0f} min",
        )
        for rule, exposure, left in found.by_rule
    ]
    show(table(("rule", "dose today", "left today", "left this week"), rows, columns=width()) + "\n")
    for caution in found.cautions:
        show(labelled("Care", caution.say, columns=width()))
