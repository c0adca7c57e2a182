"""`canebench synth`: a take with known truth, to try the measuring on."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

from canebench.base.errors import InputError
from canebench.base.notes import NOTES
from canebench.base.parsing import number_from
from canebench.cli.options.numbers import COUNT, NUMBER
from canebench.cli.text.words import show

#: Spelled out, so that help need not wait for numerics; `tests/doors/test_synth_command.py` holds them equal.
TEXTBOOK: Final = "textbook"
BLOWINGS: Final = (TEXTBOOK, "steady", "usual", "unsteady")
TUNES: Final = ("march", "air")


def offsets_from(ctx: click.Context, param: click.Parameter, values: tuple[str, ...]) -> dict[str, float]:
    """Cents by note from `NOTE=CENTS`; spaces, hyphens and capitals of a name do not matter."""
    spelled = {_bare(note): note for note in NOTES}
    offsets = {}
    for value in values:
        name, _, cents = value.partition("=")
        if _bare(name) not in spelled:
            raise click.BadParameter(f"{name!r} is no note; notes are {', '.join(NOTES)}.", ctx, param)
        try:
            offsets[spelled[_bare(name)]] = number_from(cents, "cents")
        except InputError as error:
            raise click.BadParameter(
                f"{value!r}: give NOTE=CENTS, such as 'high A=-9'.", ctx, param
            ) from error
    return offsets


@click.command(
    "synth",
    epilog="Example: canebench synth try.wav --low-a 478 --seed 1 --drones 0 --off 'high A=-9'",
)
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--low-a", "low_a_hz", type=NUMBER, required=True, metavar="HERTZ", help="Low A of the scale.")
@click.option(
    "--seed", type=COUNT, required=True, metavar="NUMBER", help="The same seed renders the same take."
)
@click.option(
    "--scale", default="harmonic", show_default=True, metavar="NAME", help="The scale: canebench scales."
)
@click.option(
    "--hold", "hold_s", type=NUMBER, default=2.0, show_default=True, metavar="S", help="Seconds a note."
)
@click.option(
    "--off",
    "offsets_cents",
    multiple=True,
    callback=offsets_from,
    metavar="NOTE=CENTS",
    help="A note off the scale; may repeat.",
)
@click.option(
    "--drones", "drones_db", type=NUMBER, metavar="DB", help="Drones this loud against the chanter."
)
@click.option(
    "--blowing",
    type=click.Choice(BLOWINGS),
    default="usual",
    show_default=True,
    help="How far pipes waver, drift and swell; textbook: quite steady tones.",
)
@click.option(
    "--wander",
    "wander_cents",
    type=NUMBER,
    default=0.0,
    show_default=True,
    metavar="CENTS",
    help="Of the chanter, on top of its blowing.",
)
@click.option("--snr", "snr_db", type=NUMBER, metavar="DB", help="Room noise this far below the chanter.")
@click.option("--rt60", "rt60_s", type=NUMBER, metavar="S", help="Reverberation time of the room.")
@click.option("--graces", is_flag=True, help="Grace notes between the notes.")
@click.option(
    "--tune",
    "tune_kind",
    type=click.Choice(TUNES),
    help="An invented tune with grace notes, in place of the scale.",
)
@click.option("--whole", is_flag=True, help="From the striking in of the bag to its cutting off.")
def command(
    *,
    out: Path,
    low_a_hz: float,
    seed: int,
    scale: str,
    hold_s: float,
    offsets_cents: dict[str, float],
    drones_db: float | None,
    wander_cents: float,
    snr_db: float | None,
    rt60_s: float | None,
    graces: bool,
    blowing: str,
    tune_kind: str | None,
    whole: bool,
) -> None:
    """Render a slow scale or a tune into OUT, and its truth as JSON beside it.

    Pitches waver and drift as on real pipes, and the truth is their mean over each note.

    The ending of OUT decides the format: wav, flac, ogg, m4a and more. All sound is invented.
    """
    # Imported here so that help and typing errors need not wait for numerics.
    from canebench.base.scales import scale_named  # noqa: PLC0415
    from canebench.bench.acts.upkeep.render_take import render_take  # noqa: PLC0415
    from canebench.sound.synth import (  # noqa: PLC0415
        Recipe,
        behaviour_for,
        drones_as_tuned,
        from_strike_to_cut,
        scale_notes,
        tune,
    )

    if tune_kind is None:
        notes = scale_notes(duration_s=hold_s, offsets_cents=offsets_cents)
    else:
        notes = tune(tune_kind, seed, offsets_cents=offsets_cents)

    recipe = Recipe(
        low_a_hz=low_a_hz,
        seed=seed,
        scale=scale_named(scale),
        notes=notes,
        drones=None if drones_db is None else drones_as_tuned(drones_db),
        wander_cents=wander_cents,
        snr_db=snr_db,
        rt60_s=rt60_s,
        graces=graces or tune_kind is not None,
        behaviour=None if blowing == TEXTBOOK else behaviour_for(seed, degree=blowing),
    )
    if whole:
        recipe = from_strike_to_cut(recipe)
    truth = render_take(recipe, out)
    show(f"{out}\n{truth}\n")


def _bare(name: str) -> str:
    return name.lower().replace(" ", "").replace("-", "").replace("_", "")
