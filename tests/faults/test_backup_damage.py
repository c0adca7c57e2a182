"""Random damages to backups, by the thousand: every one is found."""

from __future__ import annotations

import json
import shutil
from hashlib import sha256
from random import Random
from typing import TYPE_CHECKING, Final

import pytest

from canebench.store.backups.backup import write_backup
from canebench.store.backups.verify import MANIFEST, SEAL, seal_of, verify_backup
from canebench.store.ledger import open_ledger
from support.damages import missed
from support.ledgers import take_in
from support.loads import times

if TYPE_CHECKING:
    from pathlib import Path

COUNT: Final = times(5_000, usual=1_500)
_SEED: Final = 20261125


@pytest.fixture(scope="module")
def backup(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A backup of a small ledger with three recordings."""
    place = tmp_path_factory.mktemp("damage")
    ledger = open_ledger(str(place / "ledger.db"))
    take_in(ledger, count=3)
    takes = place / "takes"
    takes.mkdir()
    random = Random(_SEED)  # noqa: S311 - damages, not secrets
    for letter in "abc":
        (takes / f"{letter * 64}.flac").write_bytes(random.randbytes(3_000))
    return write_backup(ledger.database, takes, place / "backup", at="2026-03-02T19:00:00.000Z")


@pytest.fixture(scope="module")
def rows_backup(backup: Path) -> Path:
    """The same as a server's backup would lie there: JSON lines."""
    folder = backup.parent / "rows"
    (folder / "ledger").mkdir(parents=True)
    manifest = json.loads((backup / MANIFEST).read_text())
    manifest["database"] = "postgresql"
    for name, count in manifest["rows"].items():
        (folder / "ledger" / f"{name}.jsonl").write_text('{"id": 1, "version": 1}\n' * count)
    files = {}
    for path in sorted((folder / "ledger").iterdir()):
        data = path.read_bytes()
        told = {"bytes": len(data), "sha256": sha256(data).hexdigest()}
        files[path.relative_to(folder).as_posix()] = told
    manifest["files"] = files
    text = json.dumps(manifest).encode()
    (folder / MANIFEST).write_bytes(text)
    (folder / SEAL).write_bytes(seal_of(text))
    assert verify_backup(folder) == []
    return folder


def test_every_damage_is_found(backup: Path, rows_backup: Path) -> None:
    share = COUNT * 7 // 10
    assert missed(backup, share, _SEED, verify_backup) == 0
    assert missed(rows_backup, COUNT - share, _SEED + 1, verify_backup) == 0


def test_sizes_alone_would_miss_many(backup: Path) -> None:
    """The control: a look at names and sizes finds what was cut or removed, and little else."""
    saved = (backup / MANIFEST).read_bytes()

    def by_size(folder: Path) -> list[str]:
        manifest = json.loads(saved)
        return [n for n, told in manifest["files"].items() if _size(folder / n) != told["bytes"]]

    looked = times(1_000, usual=400)
    unseen = missed(backup, looked, _SEED, by_size)
    assert looked / 5 < unseen < looked


def test_a_backup_that_is_none(tmp_path: Path, backup: Path) -> None:
    assert "no backup" in verify_backup(tmp_path)[0]
    shutil.copytree(backup, tmp_path / "copy")
    assert verify_backup(tmp_path / "copy") == []


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else -1
