"""Print a reed's setting card, 105 x 148 mm.

Guarded by `tests/doors/test_cards.py`.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from canebench.base.whole_file import write_whole
from canebench.bench.views.paper.card import card_of
from canebench.bench.views.paper.typeset import code_svg, for_print, shortened, typeset_pdf
from canebench.picture.tape_drawing import described, tape_svg

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.bench.views.paper.card import Card
    from canebench.store.ledger import Ledger

TEMPLATE: Final = "card.typ"
#: A number keeps its note, its unit and its uncertainty on its line.
_TIED: Final = re.compile(
    r"(?<=\d) (?=±|mm|kPa|inH2O|cents|Hz|turns|minutes)|(?<=±) (?=\d)"
    r"|(?<=\b[A-G]) (?=\d)|(?<=\blow) (?=[AG]\b)|(?<=\bhigh) (?=[AG]\b)"
)
_NUMBER, _NAME, _SENTENCE, _HISTORY = 24, 60, 300, 200


def print_card(ledger: Ledger, number: str, path: Path) -> Card:
    """Write the card as PDF, whole or not at all; what it holds."""
    card = card_of(ledger, number)
    write_whole(path, typeset_pdf(TEMPLATE, card_data(card)), field="print")
    return card


def card_data(card: Card) -> dict[str, Any]:
    """What the template is given; lengths are bounded so that the card stays one page."""
    return {
        "number": shortened(card.number, _NUMBER),
        "state": shortened(card.state, _NAME),
        "belongs": [[label, shortened(words, _NAME)] for label, words in card.belongs],
        "groups": [
            [shortened(title, _NAME), [[label, _tied(words)] for label, words in rows]]
            for title, rows in card.groups
        ],
        "history": shortened(card.history, _HISTORY),
        "printed": card.printed_on,
        "band": shortened(card.band, _NAME),
        "code": code_svg(card.command),
        "command": shortened(card.command, _NAME),
        "drawing": for_print(tape_svg(card.holes, title=f"Tape on reed {card.number}")),
        "described": described(card.holes),
        "beam": None if card.beam is None else for_print(card.beam),
        "beam_described": "The beam of the newest take; its numbers stand below it.",
        "drawn_after": card.drawn_after,
    }


def _tied(words: str) -> str:
    return _TIED.sub("\u00a0", shortened(words, _SENTENCE))
