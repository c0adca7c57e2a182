"""Print a sheet of labels for reeds: the number, and a code that tells the reed's story.

Guarded by `tests/doors/test_cards.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

from canebench.base.errors import InputError
from canebench.base.whole_file import write_whole
from canebench.bench.acts.band import band_defaults
from canebench.bench.acts.reeds.stock import list_reeds
from canebench.bench.views.paper.card import command_for
from canebench.bench.views.paper.typeset import PAPER_NAMES, code_svg, shortened, typeset_pdf

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence
    from pathlib import Path

    from canebench.bench.acts.band import PaperName
    from canebench.bench.acts.reeds.stock import ReedOfLot
    from canebench.store.ledger import Ledger

TEMPLATE: Final = "labels.typ"
COLUMNS, ROWS = 5, 13
_MOST_COLUMNS, _MOST_ROWS = 7, 22
#: Sheets, width by height, and what is left free around the labels: as on plain label paper of 5 by 13.
_PAPERS_MM: Final[Mapping[PaperName, tuple[float, float]]] = MappingProxyType(
    {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
)
_MARGIN_MM: Final = (4.75, 10.7)
#: Least and largest side of a code with its quiet zone: the code itself is then 8 to 14 mm wide.
_CODE_MM: Final = (10.6, 18.0)
_AIR_MM: Final = 3.0
#: Advance of a letter in the lot's line at its smallest, and what code and edges take of the width.
_LETTER_MM: Final = 0.96
_BESIDE_MM: Final = 4.2
_LONGEST, _LOT = 16, 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """How many labels lie side by side and below each other on a sheet of that paper."""

    columns: int = COLUMNS
    rows: int = ROWS
    paper: PaperName = "A4"

    def __post_init__(self) -> None:
        for name, count, most in (
            ("columns", self.columns, _MOST_COLUMNS),
            ("rows", self.rows, _MOST_ROWS),
        ):
            if not 1 <= count <= most:
                raise InputError(
                    field=name,
                    given=f"{count}",
                    allowed=f"from 1 to {most}: a code under 8 mm is hard to read",
                )

    @property
    def cell_mm(self) -> tuple[float, float]:
        """Width and height of one label."""
        width_mm, height_mm = _PAPERS_MM[self.paper]
        width = (width_mm - 2 * _MARGIN_MM[0]) / self.columns
        return width, (height_mm - 2 * _MARGIN_MM[1]) / self.rows

    @property
    def code_mm(self) -> float:
        """Side of the code, its quiet zone included."""
        width, height = self.cell_mm
        return max(_CODE_MM[0], min(_CODE_MM[1], height - _AIR_MM, 0.45 * width))

    @property
    def lot_letters(self) -> int:
        """How many letters of a lot's name fit on one line beside the code."""
        return min(_LOT, int((self.cell_mm[0] - self.code_mm - _BESIDE_MM) / _LETTER_MM))


def print_labels(
    ledger: Ledger,
    path: Path,
    *,
    lot: str | None = None,
    state: str | None = None,
    numbers: Collection[str] | None = None,
    grid: Grid | None = None,
) -> int:
    """Write the sheets as PDF, whole or not at all: reeds of a lot, a state or these numbers; how many.

    Without a grid it is the usual one, on the paper that is settled.
    """
    reeds = list_reeds(ledger, lot=lot, state=state)
    if numbers is not None:
        wanted = frozenset(numbers)
        reeds = [reed for reed in reeds if reed.number in wanted]
    if not reeds:
        raise InputError(
            field="labels",
            given="no reed",
            allowed="one is needed of that lot and state; see: canebench reed",
        )
    write_whole(
        path,
        typeset_pdf(TEMPLATE, label_data(reeds, grid or Grid(paper=band_defaults(ledger).paper))),
        field="print",
    )
    return len(reeds)


def label_data(reeds: Sequence[ReedOfLot], grid: Grid) -> dict[str, Any]:
    """What the template is given."""
    width, height = grid.cell_mm
    return {
        "paper": PAPER_NAMES[grid.paper],
        "columns": grid.columns,
        "rows": grid.rows,
        "margin": _MARGIN_MM,
        "cell": (width, height),
        "code": grid.code_mm,
        "reeds": [_label(reed, grid.lot_letters) for reed in reeds],
    }


def _label(reed: ReedOfLot, lot_letters: int) -> dict[str, str]:
    return {
        "number": shortened(reed.number, _LONGEST),
        "lot": "" if reed.lot is None else shortened(reed.lot, lot_letters),
        "code": code_svg(command_for(reed.number)),
    }
