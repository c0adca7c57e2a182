"""Recordings under fire: two at once, a power cut after a take or a restore, damage where they lie."""

from __future__ import annotations

import os
from hashlib import sha256
from threading import Barrier, Thread
from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.fitting.fit_reed import Place, fit_reed
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.reeds.chanters import keep_chanter
from canebench.bench.acts.reeds.stock import take_in_lot
from canebench.sound.files.encode import write_recording
from canebench.sound.synth import Recipe, render, scale_notes
from canebench.store import recordings as keeping
from canebench.store.backups import restore as restoring
from canebench.store.backups.backup import write_backup
from canebench.store.backups.restore import restore_backup
from canebench.store.database import LedgerError
from canebench.store.ledger import open_ledger
from canebench.store.recordings import is_whole, keep_recording
from canebench.store.writer import Writer

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from canebench.store.ledger import Ledger

AT = "2026-03-02T19:00:00.000Z"


def _kept_at_once(keep: Callable[[Path, Callable[[Path], None]], str], folder: Path) -> int:
    """How many of two takes have their own digest, where both are written before either is named."""
    both, sounds, named = Barrier(2), (b"one" * 1000, b"other" * 1000), dict[bytes, str]()

    def take(sound: bytes) -> None:
        def write(path: Path) -> None:
            path.write_bytes(sound)
            both.wait(timeout=30)

        try:
            named[sound] = keep(folder, write)
        except OSError:
            # It was taken away under its hands: not kept.
            return

    threads = [Thread(target=take, args=(sound,)) for sound in sounds]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    return sum(
        named.get(sound) == sha256(sound).hexdigest()
        and (folder / f"{named[sound]}.flac").is_file()
        and (folder / f"{named[sound]}.flac").read_bytes() == sound
        for sound in sounds
    )


def test_two_takes_at_once_keep_their_own_sound(tmp_path: Path) -> None:
    assert _kept_at_once(keep_recording, tmp_path / "takes") == 2
    assert len(list((tmp_path / "takes").iterdir())) == 2


def test_control_one_name_for_all_swaps_their_sound(tmp_path: Path) -> None:
    def shared(folder: Path, write: Callable[[Path], None]) -> str:
        beside = folder / ".incoming.flac"
        write(beside)
        digest = sha256(beside.read_bytes()).hexdigest()
        beside.replace(folder / f"{digest}.flac")
        return digest

    assert _kept_at_once(shared, tmp_path) < 2


def test_what_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    def full(path: Path) -> None:
        path.write_bytes(b"half")
        raise OSError(28, "No space left on device")

    with pytest.raises(LedgerError, match="No space left"):
        keep_recording(tmp_path / "takes", full)
    assert list((tmp_path / "takes").iterdir()) == []
    (tmp_path / "file").write_text("x")
    with pytest.raises(LedgerError, match="none can be kept there"):
        keep_recording(tmp_path / "file" / "takes", lambda path: path.write_bytes(b"one"))  # type: ignore[arg-type]


@pytest.fixture
def events(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """The inode of whatever is synced, and the table of whatever is written down, as they come."""
    found: list[object] = []
    fsync, insert = os.fsync, Writer.insert

    def synced(place: int) -> None:
        fsync(place)
        found.append(os.fstat(place).st_ino)

    def inserted(self: Writer, table: str, row: dict[str, object]) -> int:
        found.append(table)
        return insert(self, table, row)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(Writer, "insert", inserted)
    return found


def _certain_before(events: list[object], folder: Path, table: str | None = None) -> bool:
    """Whether every recording and the folder were synced, before the first row of the table."""
    before = events if table is None else events[: events.index(table)]
    # The folder last: a name that comes after is not certain.
    inodes = [path.stat().st_ino for path in folder.glob("*.flac")]
    if not inodes or folder.stat().st_ino not in before:
        return False
    last = len(before) - before[::-1].index(folder.stat().st_ino)
    return all(one in before[:last] for one in inodes)


def _fit(tmp_path: Path, events: list[object]) -> Path:
    ledger = open_ledger(str(tmp_path / "ledger.db"))
    take_in_lot(ledger, who="Ailsa", name="spring", count=1)
    keep_chanter(ledger, "three", who="Ailsa", sizes=None)
    recording, _ = render(Recipe(low_a_hz=478, seed=1, notes=scale_notes("low A", "high A", duration_s=1.2)))
    write_recording(recording, tmp_path / "take.wav")
    events.clear()
    one = fit_reed(
        ledger,
        FitRequest(heard=tmp_path / "take.wav"),
        place=Place(reed="1", chanter="three"),
        who="Ailsa",
        takes_folder=tmp_path / "takes",
    )
    assert one.take_id is not None
    return tmp_path / "takes"


def test_a_recording_is_on_the_disk_before_its_take_is_written_down(
    tmp_path: Path, events: list[object]
) -> None:
    takes = _fit(tmp_path, events)
    assert _certain_before(events, takes, "takes")


def test_control_a_folder_that_is_not_synced_is_noticed(
    tmp_path: Path, events: list[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keeping, "sync", lambda _: None)
    takes = _fit(tmp_path, events)
    assert not _certain_before(events, takes, "takes")


def _recorded(ledger: Ledger, takes: Path, sounds: list[bytes]) -> list[Path]:
    """Takes with recordings, and where these lie."""
    names = [keep_recording(takes, lambda path, sound=sound: path.write_bytes(sound)) for sound in sounds]  # type: ignore[misc]
    with ledger.act("fit", who="Ailsa", said="takes") as act:
        for name in names:
            told = {"origin": "x.wav", "scale": "just", "reference": "low-a", "source": "recording"}
            act.insert("takes", {**told, "at": act.at, "recording_sha256": name})
    return [takes / f"{name}.flac" for name in names]


def test_damaged_and_missing_recordings_come_back(tmp_path: Path, events: list[object]) -> None:
    ledger, takes = open_ledger(str(tmp_path / "ledger.db")), tmp_path / "takes"
    one, other, third = _recorded(ledger, takes, [b"one", b"other", b"third"])
    folder = write_backup(ledger.database, takes, tmp_path / "backup", at=AT)
    assert (folder / "takes").stat().st_ino in events
    one.write_bytes(b"")
    other.unlink()
    untouched = third.stat().st_ino
    events.clear()
    assert restore_backup(folder, ledger.database, takes, at=AT).recordings == 2
    assert [path.read_bytes() for path in (one, other, third)] == [b"one", b"other", b"third"]
    assert third.stat().st_ino == untouched
    third.unlink()
    assert _certain_before(events, takes)
    assert sorted(takes.iterdir()) == sorted((one, other))


def test_control_restored_recordings_that_are_not_synced_are_noticed(
    tmp_path: Path, events: list[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger, takes = open_ledger(str(tmp_path / "ledger.db")), tmp_path / "takes"
    (one,) = _recorded(ledger, takes, [b"one"])
    folder = write_backup(ledger.database, takes, tmp_path / "backup", at=AT)
    one.unlink()
    monkeypatch.setattr(restoring, "sync", lambda _: None)
    events.clear()
    restore_backup(folder, ledger.database, takes, at=AT)
    assert not _certain_before(events, takes)


def test_a_backup_that_is_damaged_itself_replaces_nothing_whole(tmp_path: Path) -> None:
    ledger, takes = open_ledger(str(tmp_path / "ledger.db")), tmp_path / "takes"
    (one,) = _recorded(ledger, takes, [b"one"])
    one.write_bytes(b"damaged when it was backed up")
    folder = write_backup(ledger.database, takes, tmp_path / "backup", at=AT)
    one.write_bytes(b"one")
    assert is_whole(one)
    assert restore_backup(folder, ledger.database, takes, at=AT).recordings == 0
    assert is_whole(one)
    # One of the two damaged: neither is better.
    one.write_bytes(b"damaged otherwise")
    assert restore_backup(folder, ledger.database, takes, at=AT).recordings == 0
    # None at all: a damaged one is better.
    one.unlink()
    assert restore_backup(folder, ledger.database, takes, at=AT).recordings == 1
