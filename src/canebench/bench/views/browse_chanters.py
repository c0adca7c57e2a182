"""Chanters to look through: their sizes, what a millimetre does on them, what was fitted in them.

Guarded by `tests/web/test_chanters.py` and `tests/web/test_chanters_page.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.base.uncertain import number
from canebench.bench.acts.fitting.fit_reed import Wish, fitting_of_rows
from canebench.bench.acts.ledger import number_of
from canebench.bench.acts.reeds.drones import list_drones
from canebench.bench.views.chanter_effects import chanter_effects
from canebench.bench.views.drawing.draw_fitting import draw_tape
from canebench.bore.chanter_file import generic, parse
from canebench.picture.bore_drawing import bore_svg

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.bench.views.chanter_effects import Effect
    from canebench.bore.chanter_file import ChanterFile
    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord, Reader
    from canebench.store.tables import Row, Value

_STORY = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleEffect:
    """One hole, in words."""

    name: str
    position: str
    diameter: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChanterPage:
    """One chanter; `effects` are what its takes have taught, a row for each change."""

    chanter: Row
    player: Row | None
    measured: bool
    sizes: str
    holes: list[HoleEffect]
    drawing: str
    bore: str
    drones: list[dict[str, Value]]
    effects: list[tuple[str, list[str]]]
    notes: tuple[str, ...]
    learnt_from: str
    fittings: list[Row]
    story: list[ActRecord]


#: Chanters whose effects are kept at hand.
_MOST_KEPT: Final = 512


class Effects:
    """What a millimetre does, kept at hand: computing it takes a fifth of a second."""

    def __init__(self) -> None:
        self._kept: dict[object, tuple[Effect, ...]] = {}

    def of(self, key: object, reader: Reader, reed: Row | None, chanter: Row) -> tuple[Effect, ...]:
        """For a chanter, from the takes of a reed in it."""
        if key not in self._kept:
            fitting = fitting_of_rows(reader, reed or {"id": -1}, chanter, Wish())
            if not fitting.takes:
                # Nothing is learnt yet: chanters of one size have one answer.
                key = chanter["chanter_toml"]
            if key not in self._kept:
                if len(self._kept) >= _MOST_KEPT:
                    self._kept.pop(next(iter(self._kept)))
                self._kept[key] = chanter_effects(fitting)
        return self._kept[key]


def chanter_page(ledger: Ledger, chanter_id: int, effects: Effects) -> ChanterPage:
    """One chanter."""
    with ledger.reading() as reader:
        chanter = reader.row("chanters", chanter_id)
        counted = reader.counts("takes", "reed_id", {"chanter_id": chanter_id})
        counted.pop(None, None)
        most = max(counted, key=lambda reed: counted[reed], default=None)
        ids = sorted(counted, key=lambda reed: -counted[reed])[:50]
        reeds = {row["id"]: row for row in reader.of_many("reeds", "id", ids)}
        reed = None if most is None else reeds.get(most)
        key = (chanter_id, chanter["version"], most, counted.get(most, 0))
        found = effects.of(key, reader, reed, chanter)
        story = reader.story("chanters", chanter_id, newest=_STORY)[::-1]
        player = (
            None if chanter["player_id"] is None else reader.row("players", number_of(chanter, "player_id"))
        )
    file = _file(chanter)
    takes = counted.get(most, 0)
    owner = None if player is None else player["name"]
    return ChanterPage(
        chanter=chanter,
        player=player,
        measured=chanter["chanter_toml"] is not None,
        sizes=file.text,
        holes=[
            HoleEffect(name=name, position=number(hole.position_mm, 1), diameter=number(hole.diameter_mm, 1))
            for name, hole in zip(HOLES, file.chanter.holes, strict=True)
        ],
        drawing=draw_tape(file, Setting(), title=f"Holes of {chanter['name']}"),
        bore=_bore(file, str(chanter["name"])),
        drones=[one for one in list_drones(ledger) if owner is not None and one["player"] == owner],
        effects=[(one.change, [_cents(one, note) for note in NOTES]) for one in found],
        notes=NOTES,
        learnt_from="no take yet: from its sizes alone"
        if reed is None
        else f"{takes} {'take' if takes == 1 else 'takes'} of reed {reed['number']}",
        fittings=[reeds[one] for one in ids if one in reeds],
        story=story,
    )


def _bore(file: ChanterFile, name: str) -> str:
    """Its bore, drawn; where two sections meet in a step both widths are kept."""
    at = 0.0
    profile: list[tuple[float, float]] = []
    for section in file.chanter.sections:
        for place, width in ((at, section.top_mm), (at + section.length_mm, section.bottom_mm)):
            if (place, width) not in profile[-1:]:
                profile.append((place, width))
        at += section.length_mm
    holes = [(hole, one.position_mm) for hole, one in zip(HOLES, file.chanter.holes, strict=True)]
    return bore_svg(profile, holes, title=f"Bore of {name}, {number(at, 1)} mm long, to scale")


def _cents(effect: Effect, note: str) -> str:
    found = effect.cents.get(note)
    if found is None:
        return "0"
    return found.text("", signed=True).replace(" (± not estimated)", "").strip()


def _file(chanter: Row) -> ChanterFile:
    text = chanter["chanter_toml"]
    return generic() if text is None else parse(str(text), name=str(chanter["name"]))


def edit_chanter(
    ledger: Ledger,
    chanter_id: int,
    told: Mapping[str, str | None],
    *,
    read: Mapping[str, Value],
    who: str,
) -> None:
    """Change name, player, remarks and sizes (TOML); refused where the row is not as it was `read`.

    Sizes that are left empty stay as they are.
    """
    values: dict[str, Value] = {"name": told.get("name"), "remarks": told.get("remarks")}
    if told.get("sizes"):
        values["chanter_toml"] = parse(str(told["sizes"]), name="the sizes").text
    with ledger.reading() as reader:
        row = reader.row("chanters", chanter_id)
        player = reader.find("players", "name", told["player"]) if told.get("player") else None
    values["player_id"] = None if player is None else player["id"]
    with ledger.act("chanter", who=who, said=f"chanter {row['name']}") as act:
        act.update("chanters", chanter_id, values, read={**row, **read})
