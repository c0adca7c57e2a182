"""`canebench drone`: drones, the marks on their pins, and where a pin stands."""

from __future__ import annotations

import click

from canebench.cli.options.ledger_options import begins, print_json
from canebench.cli.options.numbers import NUMBER
from canebench.cli.text.words import paragraph, show, table, width


@click.command(
    "drone",
    epilog="Example: canebench drone 'outside tenor' --pin 44.5",
)
@click.argument("name", required=False)
@click.option("--kind", metavar="KIND", help="bass or tenor; needed for a new drone.")
@click.option("--player", metavar="NAME", help="Whose pipes they are.")
@click.option("--mark", "mark_mm", type=NUMBER, metavar="MM", help="The mark on the pin: how far out, mm.")
@click.option(
    "--pin", "pin_mm", type=NUMBER, metavar="MM", help="How far out it stands now, in tune with low A."
)
@click.option("--hz", type=NUMBER, metavar="HERTZ", help="The drone's pitch there, if a meter told it.")
@click.option("--sd", "sd_hz", type=NUMBER, metavar="HERTZ", help="The standard uncertainty of that pitch.")
@begins
def command(
    *,
    name: str | None,
    kind: str | None,
    player: str | None,
    mark_mm: float | None,
    pin_mm: float | None,
    hz: float | None,
    sd_hz: float | None,
    ledger_url: str | None,
    who: str | None,
    as_json: bool,
) -> None:
    """Keep the drone NAME: its mark, where its pin stands, and what that says of the chanter; or list all."""
    if pin_mm is None and (hz is not None or sd_hz is not None):
        raise click.UsageError("A pitch needs --pin: where the pin stood.", ctx=click.get_current_context())
    from canebench.bench.acts.ledger import the_ledger, the_writer  # noqa: PLC0415
    from canebench.bench.acts.reeds.drones import keep_drone, list_drones, note_pin  # noqa: PLC0415 - help need not wait

    ledger = the_ledger(ledger_url)
    if name is None:
        drones = list_drones(ledger)
        if as_json:
            print_json(drones)
            return
        rows = [
            (drone.name, drone.kind, drone.player or "–", _mm(drone.pin_mark_mm), _mm(drone.pin_mm))
            for drone in drones
        ]
        empty = "No drone here yet: canebench drone 'outside tenor' --kind tenor --mark 42\n"
        heads = ("drone", "kind", "player", "mark", "pin last")
        show(table(heads, rows, columns=width(), words=True) if rows else empty)
        return
    writer = the_writer(who)
    kept = keep_drone(ledger, name, who=writer, kind=kind, player=player, mark_mm=mark_mm)
    noted = None if pin_mm is None else note_pin(ledger, name, pin_mm=pin_mm, who=writer, hz=hz, sd_hz=sd_hz)
    if as_json:
        print_json({"drone": kept, "said": None if noted is None else noted.said})
        return
    said = f"Drone {name}: {kept.kind}, mark at {_mm(kept.pin_mark_mm)}." if noted is None else noted.said
    show(paragraph(said, columns=width()))


def _mm(value: float | None) -> str:
    return "–" if value is None else f"{value:g} mm"
