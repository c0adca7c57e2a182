"""Is this bench in order: ledger, folders, disk, recordings, decoder, print, browser; each in words.

Guarded by `tests/doors/test_doctor_command.py`.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
import webbrowser
from contextlib import suppress
from dataclasses import dataclass
from glob import escape
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from canebench.base.disk.owner_only import is_wider
from canebench.base.errors import CanebenchError
from canebench.bench.acts.ledger import ledger_url, takes_folder
from canebench.sound.files.decode import read_recording
from canebench.sound.files.encode import write_recording
from canebench.sound.files.recording import Recording
from canebench.store.engine import file_of, open_database, place_of
from canebench.store.migrate import revision_of
from canebench.store.reader import Reader
from canebench.store.recordings import is_whole, recording_path, recordings_in
from canebench.store.records import ReedRecord, TakeRecord
from canebench.store.schema import HEAD
from canebench.store.sqlite import SIDES, Sqlite

if TYPE_CHECKING:
    from collections.abc import Iterator

    from canebench.store.database import Database

Verdict = Literal["fine", "look", "broken"]
#: Less free disk than this is worth a look, bytes.
_LITTLE: Final = 500 * 2**20
#: The browsers that a page is opened with, by their programs' names.
_BROWSERS: Final = ("chromium", "chromium-browser", "google-chrome", "firefox", "msedge", "safari")
_RATE_HZ: Final = 48_000
_AGAIN: Final = "install canebench again: a part of it does not run here"


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One thing looked at: how it is, and what to do where it is not fine."""

    what: str
    verdict: Verdict
    said: str
    do: str | None = None


def check_up(given_url: str | None) -> list[Found]:
    """Look at everything; nothing is changed."""
    url = ledger_url(given_url)
    found = list(_ledger(url))
    takes = takes_folder(given_url)
    found += [_folder(takes.parent), _disk(takes.parent)]
    found += [_recordings(url, takes), _readers(url, takes), _decoder(), _print(), _browser()]
    return found


def _ledger(url: str) -> Iterator[Found]:
    try:
        database = open_database(url)
    except CanebenchError as error:
        yield Found(what="Ledger", verdict="broken", said=str(error), do="name another one")
        return
    if isinstance(database, Sqlite):
        yield _sqlite()
        if not database.path.exists():
            said = f"none yet at {database.path}"
            yield Found(what="Ledger", verdict="look", said=said, do="canebench lot, or canebench serve")
            return
    try:
        yield _state(database, url)
    except CanebenchError as error:
        yield Found(what="Ledger", verdict="broken", said=str(error), do="canebench restore, from a backup")


def _sqlite() -> Found:
    version = sqlite3.sqlite_version_info
    journal = "write-ahead log" if version >= (3, 51, 3) else "rollback journal"
    why = "" if version >= (3, 51, 3) else ", since a write-ahead log is safe from 3.51.3 on"
    good = version >= (3, 37)
    return Found(
        what="SQLite",
        verdict="fine" if good else "broken",
        said=f"{sqlite3.sqlite_version}, {journal}{why}",
        do=None if good else "a Python with SQLite 3.37 or newer: strict tables need it",
    )


def _state(database: Database, url: str) -> Found:
    revision = revision_of(database)
    if revision is None:
        said_none = f"none yet at {place_of(url)}"
        return Found(what="Ledger", verdict="look", said=said_none, do="any command makes it")
    with database.read() as connection:
        if database.dialect == "sqlite":
            said = [row["integrity_check"] for row in connection.rows("PRAGMA integrity_check")]
            broken = connection.rows("PRAGMA foreign_key_check")
            if said != ["ok"] or broken:
                what = "; ".join(said[:3]) if said != ["ok"] else f"{len(broken)} rows refer to nothing"
                do = "canebench restore, from a backup"
                return Found(what="Ledger", verdict="broken", said=what, do=do)
        reader = Reader(connection)
        counts = (
            f"{reader.count(ReedRecord)} reeds, {reader.count(TakeRecord)} takes" if revision == HEAD else ""
        )
    if revision != HEAD:
        said_old = f"revision {revision}; this version's is {HEAD}"
        do = "any command migrates an older one, after a snapshot"
        return Found(what="Ledger", verdict="look", said=said_old, do=do)
    return Found(what="Ledger", verdict="fine", said=f"whole, revision {revision}, {counts}")


def _folder(folder: Path) -> Found:
    place = folder
    while not place.exists() and place != place.parent:
        place = place.parent
    if os.access(place, os.W_OK | os.X_OK):
        way = "can be written" if place == folder else "can be made"
        return Found(what="Folder", verdict="fine", said=f"{folder} {way}")
    return Found(
        what="Folder",
        verdict="broken",
        said=f"{place} cannot be written by you",
        do="give yourself write access, or name another ledger",
    )


def _disk(folder: Path) -> Found:
    place = folder
    while not place.exists():
        place = place.parent
    free = shutil.disk_usage(place).free
    said = f"{free / 2**30:.1f} GiB free"
    if free >= _LITTLE:
        return Found(what="Disk", verdict="fine", said=said)
    return Found(
        what="Disk", verdict="look", said=said, do="an hour of recordings takes some 200 MB: make room"
    )


def _recordings(url: str, takes: Path) -> Found:
    """Every recording that the ledger names, by its digest."""
    try:
        database = open_database(url)
        if isinstance(database, Sqlite) and not database.path.exists():
            return Found(what="Takes", verdict="fine", said="no recording yet")
        with database.read() as connection:
            rows = connection.rows(
                "SELECT DISTINCT recording_sha256 AS name FROM takes WHERE recording_sha256 IS NOT NULL"
            )
    except (CanebenchError, sqlite3.Error):
        return Found(what="Takes", verdict="look", said="not looked at", do="mend the ledger first")
    names = [row["name"] for row in rows]
    places = [recording_path(takes, name) for name in names]
    there = [path for path in places if path is not None and path.is_file()]
    missing = len(names) - len(there)
    changed = sum(not is_whole(path) for path in there)
    if not missing and not changed:
        return Found(what="Takes", verdict="fine", said=f"{len(names)} recordings, all there and unchanged")
    return Found(
        what="Takes",
        verdict="broken",
        said=f"of {len(names)}, {missing} are missing and {changed} changed in {takes}",
        do="canebench restore brings back those that a backup holds whole",
    )


def _readers(url: str, takes: Path) -> Found:
    """Whether what only its owner is meant to read is so; the folder that a ledger lies in is their own."""
    unfinished, kept = takes / "unfinished", takes.parent / "snapshots"
    ours = [takes, unfinished, kept, *recordings_in(takes), *unfinished.glob("*"), *kept.glob("*")]
    with suppress(CanebenchError):
        path = file_of(url)
        if path is not None:
            ours += [path, *(path.with_name(path.name + side) for side in SIDES)]
            ours += path.parent.glob(f"{escape(path.stem)}-before-restore-*")
    wider = sorted(str(path) for path in ours if path.exists() and is_wider(path))
    if not wider:
        return Found(what="Readers", verdict="fine", said="ledger and recordings are yours alone to read")
    more = f" and {len(wider) - 1} more" if len(wider) > 1 else ""
    return Found(
        what="Readers",
        verdict="look",
        said=f"others on this machine may read {wider[0]}{more}",
        do=f"chmod -R go= {quote(wider[0])}{' and those' if more else ''}, unless you share them",
    )


def _decoder() -> Found:
    """A second of sound out and in again, through the real encoder and decoder."""
    tone = 0.5 * np.sin(2 * np.pi * 480.0 * np.arange(_RATE_HZ) / _RATE_HZ)
    try:
        with tempfile.TemporaryDirectory(prefix="canebench-") as folder:
            path = Path(folder) / "tone.flac"
            write_recording(
                Recording(samples=tone.astype(np.float32), rate_hz=_RATE_HZ, origin="check-up"), path
            )
            heard = read_recording(path)
    except (CanebenchError, OSError) as error:
        return Found(what="Sound", verdict="broken", said=f"files cannot be read: {error}", do=_AGAIN)
    if len(heard.samples) != len(tone):
        return Found(what="Sound", verdict="broken", said="a file came back another length", do=_AGAIN)
    said = "files are written and read; the microphone is looked at in the page, under Microphone check"
    return Found(what="Sound", verdict="fine", said=said)


def _print() -> Found:
    try:
        import typst  # noqa: PLC0415

        typst.compile(b"x", format="pdf")
    except (ImportError, OSError, RuntimeError) as error:
        return Found(what="Print", verdict="broken", said=f"no PDF can be made: {error}", do=_AGAIN)
    return Found(what="Print", verdict="fine", said="cards and labels can be made")


def _browser() -> Found:
    names = [name for name in _BROWSERS if shutil.which(name)]
    try:
        usual = webbrowser.get().name if not names else names[0]
    except webbrowser.Error:
        return Found(
            what="Browser",
            verdict="look",
            said="none was found by name",
            do="canebench serve --no-browser, and open its link yourself",
        )
    return Found(what="Browser", verdict="fine", said=str(usual))
