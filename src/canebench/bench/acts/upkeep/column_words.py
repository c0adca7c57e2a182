"""What each column of a table is, in the trade's words: for whoever has a list and not this house's names.

Guarded by `tests/web/test_exchange_page.py`, which finds a column without words.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.store.tables import TABLES

if TYPE_CHECKING:
    from canebench.store.tables import Table

#: Told alike in every table that has them.
_EVERYWHERE: Final = {
    "at": "when it was",
    "remarks": "anything told of it",
    "room_degc": "how warm the room was, °C",
    "room_rh": "how humid the room was, %",
    "reed_id": "the reed: its number under the header “reed”",
    "chanter_id": "the chanter: its name under the header “chanter”",
    "player_id": "who blows it: the name under the header “player”",
    "lot_id": "the lot it came with: its name under the header “lot”",
    "drone_id": "the drone: its name under the header “drone”",
    "setting_id": "the setting: its id in this file",
    "take_id": "the take: its id in this file",
    "name": "what it is called",
}
_OF_A_TABLE: Final = {
    "bands": {
        "low_a_hz": "the pitch of low A that all are set to, Hz; empty: the drones’",
        "scale": "the scale that notes are judged by", "pressure_unit": "what the gauge reads in",
        "time_zone": "the time zone of the clock on the wall", "paper": "A4 or Letter",
        "chanter_id": "the usual chanter: its name under the header “chanter”",
        "player_id": "who blows it, if nobody else is named: the name under the header “player”",
        "session_minutes": "minutes of a reed’s sessions of breaking in, commas between",
        "rest_h": "hours that a reed rests after each",
        "settled_onset_kpa": "settled: its onset moves by less, kPa",
        "settled_low_a_cents": "settled: its low A moves by less, cents",
        "settled_sessions": "settled: over so many sessions",
    },
    "lots": {
        "bought_on": "the day it was bought", "count": "how many reeds came in it", "price": "what it cost",
        "currency": "in which money", "cane": "the cane, in your words", "cut": "the cut, in your words",
    },
    "players": {
        "blows_kpa": "what they blow now, kPa; under “blows [inH2O]”, inches of water",
        "ceiling_kpa": "what they will not blow past, kPa; under “ceiling [inH2O]”, inches of water",
    },
    "chanters": {"chanter_toml": "bore and holes, as the text of a chanter’s file"},
    "drones": {"kind": "bass or tenor", "pin_mark_mm": "where the mark on its pin is, mm"},
    "reeds": {
        "number": "the number on its binding", "state": "new, on trial, breaking in, settled, and so on",
        "state_reason": "why it is in that state", "state_since": "since when it is in that state",
    },
    "settings": {
        "seat_mm": "how much deeper than the hand seat, mm", "pinches": "pinches so far",
    },
    "tapes": {"hole": "which hole", "covered_mm": "how far its upper edge is covered, mm"},
    "takes": {
        "origin": "the file’s name, or “typed”", "source": "recording, or typed",
        "recording_sha256": "which recording is kept of it", "duration_s": "how long it is, s",
        "scale": "the scale it was judged by", "reference": "drones, low-a or fixed",
        "reference_hz": "the pitch it was judged against, Hz",
        "reference_sd_hz": "how far that pitch may be out, Hz",
        "warm_min": "how long the pipes were played before, min",
    },
    "pitches": {
        "note": "which note", "hz": "its pitch, Hz", "sd_hz": "how far the pitch may be out, Hz",
        "repeat_sd_cents": "how far it may be out when played again, cents",
        "typed_value": "the reading as typed", "typed_unit": "Hz or cents",
    },
    "strengths": {
        "onset_kpa": "where it begins to sound, kPa", "playing_kpa": "where it plays well, kPa",
        "dropout_kpa": "where it falls silent, kPa", "choke_kpa": "where it shuts, kPa",
        "onset_sd_kpa": "how far the onset may be out, kPa",
        "playing_sd_kpa": "how far the playing pressure may be out, kPa",
        "dropout_sd_kpa": "how far the drop-out may be out, kPa",
        "choke_sd_kpa": "how far the choke may be out, kPa",
        "given_unit": "what the gauge reads in", "by_mouth": "how strong by mouth, against another reed",
        "than_reed_id": "which reed it was compared with by mouth",
    },
    "eases": {"how": "a pinch, or another way"},
    "plays": {"minutes": "how long it was played, min", "level_dba": "how loud at the ear, dB(A)"},
    "mouth_tests": {"rests_until": "until when it rests for other mouths"},
    "pin_marks": {"pin_mm": "where the pin stood, mm", "hz": "its pitch there, Hz",
                  "sd_hz": "how far its pitch there may be out, Hz"},
}  # fmt: skip


def _words(table: Table) -> dict[str, str]:
    own = _OF_A_TABLE.get(table.name, {})
    return {column.name: own.get(column.name) or _EVERYWHERE[column.name] for column in table.columns}


#: For each table, what its columns are, in the trade's words.
COLUMN_WORDS: Final = {name: _words(table) for name, table in TABLES.items()}
#: For each table, the columns that a list of it cannot go without.
NEEDED: Final = {
    name: [column.name for column in table.columns if column.needed and column.name != "state_since"]
    for name, table in TABLES.items()
}
