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
from canebench.bench.acts.fitting.fit_reed import fitting_of_rows, sizes_of
from canebench.bench.acts.ledger import check_renamed, renamed
from canebench.bench.acts.reeds.chanters import list_chanters
from canebench.bench.acts.reeds.drones import list_drones
from canebench.bench.views.chanter_effects import chanter_effects
from canebench.bench.views.drawing.draw_fitting import draw_tape
from canebench.bore.chanter_file import parse
from canebench.picture.bore_drawing import bore_svg
from canebench.store.records import ChanterRecord, PlayerRecord, ReedRecord, TakeRecord

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.bench.acts.reeds.drones import DroneNow
    from canebench.bench.views.chanter_effects import Effect
    from canebench.bore.chanter_file import ChanterFile
    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord, Reader
    from canebench.store.tables import Value

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

    chanter: ChanterRecord
    player: PlayerRecord | None
    measured: bool
    sizes: str
    holes: list[HoleEffect]
    drawing: str
    bore: str
    drones: list[DroneNow]
    effects: list[tuple[str, list[str]]]
    notes: tuple[str, ...]
    learnt_from: str
    fittings: list[ReedRecord]
    story: list[ActRecord]


#: Chanters whose effects are kept at hand.
_MOST_KEPT: Final = 512


class Effects:
    """What a millimetre does, kept at hand: computing it takes a fifth of a second."""

    def __init__(self) -> None:
        self._kept: dict[object, tuple[Effect, ...]] = {}

    def of(
        self, key: object, reader: Reader, reed_id: int | None, chanter: ChanterRecord
    ) -> tuple[Effect, ...]:
        """For a chanter, from the takes of a reed in it."""
        if key not in self._kept:
            fitting = fitting_of_rows(reader, reed_id, chanter)
            if not fitting.takes:
                # Nothing is learnt yet: chanters of one size have one answer.
                key = chanter.chanter_toml
            if key not in self._kept:
                if len(self._kept) >= _MOST_KEPT:
                    self._kept.pop(next(iter(self._kept)))
                self._kept[key] = chanter_effects(fitting)
        return self._kept[key]


def chanter_page(ledger: Ledger, chanter_id: int, effects: Effects) -> ChanterPage:
    """One chanter."""
    with ledger.reading() as reader:
        chanter = reader.row(ChanterRecord, chanter_id)
        takes = reader.counts(TakeRecord, "reed_id", {"chanter_id": chanter_id})
        counted = {reed_id: count for reed_id, count in takes.items() if isinstance(reed_id, int)}
        ids = sorted(counted, key=lambda reed_id: -counted[reed_id])[:50]
        most, times = (ids[0], counted[ids[0]]) if ids else (None, 0)
        reeds = reader.by_id(ReedRecord, ids)
        reed = reeds.get(most)
        key = (chanter_id, chanter.version, most, times)
        found = effects.of(key, reader, None if reed is None else reed.id, chanter)
        story = reader.story(ChanterRecord, chanter_id, newest=_STORY)[::-1]
        player = None if chanter.player_id is None else reader.row(PlayerRecord, chanter.player_id)
    file = sizes_of(chanter)
    owner = None if player is None else player.name
    return ChanterPage(
        chanter=chanter,
        player=player,
        measured=chanter.chanter_toml is not None,
        sizes=file.text,
        holes=[
            HoleEffect(name=name, position=number(hole.position_mm, 1), diameter=number(hole.diameter_mm, 1))
            for name, hole in zip(HOLES, file.chanter.holes, strict=True)
        ],
        drawing=draw_tape(file, Setting(), title=f"Holes of {chanter.name}"),
        bore=_bore(file, chanter.name),
        drones=[one for one in list_drones(ledger) if owner is not None and one.player == owner],
        effects=[(one.change, [_cents(one, note) for note in NOTES]) for one in found],
        notes=NOTES,
        learnt_from="no take yet: from its sizes alone"
        if reed is None
        else f"{times} {'take' if times == 1 else 'takes'} of reed {reed.number}",
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


@dataclass(frozen=True, slots=True, kw_only=True)
class ChanterLine:
    """A chanter in a list: whose it is, and whether its sizes are known."""

    id: int
    name: str
    player: str
    measured: bool


def chanter_lines(ledger: Ledger) -> list[ChanterLine]:
    """Chanters by name."""
    chanters = list_chanters(ledger)
    with ledger.reading() as reader:
        players = reader.by_id(PlayerRecord, (chanter.player_id for chanter in chanters))
    return [
        ChanterLine(
            id=chanter.id,
            name=chanter.name,
            player=players[chanter.player_id].name if chanter.player_id in players else "",
            measured=chanter.chanter_toml is not None,
        )
        for chanter in chanters
    ]


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
    if sizes := told.get("sizes"):
        values["chanter_toml"] = parse(sizes, name="the sizes").text
    with ledger.reading() as reader:
        row = reader.row(ChanterRecord, chanter_id)
        player = reader.find(PlayerRecord, "name", told["player"]) if told.get("player") else None
    values["player_id"] = None if player is None else player.id
    with ledger.act("chanter", who=who, said=f"chanter {renamed(row, told.get('name'))}") as act:
        check_renamed(act, row, told.get("name"))
        act.update(row.as_read(read), values)
