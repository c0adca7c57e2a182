"""Ten thousand random damages to backups: every one is found."""

from __future__ import annotations

import json
import shutil
from functools import partial
from hashlib import sha256
from random import Random
from typing import TYPE_CHECKING, Final

import pytest

from canebench.store.backup import write_backup
from canebench.store.ledger import open_ledger
from canebench.store.verify import MANIFEST, SEAL, seal_of, verify_backup
from support.ledgers import take_in

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

COUNT: Final = 10_000
_SEED: Final = 20261125
_KINDS: Final = (
    *("flip", "flip", "flip", "cut", "more", "zero", "swap"),
    *("remove", "rename", "extra", "copy", "edit", "forge"),
)


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


def damage(folder: Path, random: Random) -> Callable[[], None]:
    """Do one damage; what takes it back."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    path = random.choice(files)
    data = path.read_bytes()
    kind = random.choice(_KINDS)
    if kind == "extra":
        other = path.with_name(f"{path.name}.{random.randrange(100)}")
        other.write_bytes(random.randbytes(random.randrange(20)))
        return other.unlink
    if kind in ("remove", "rename"):
        other = path.with_name(f"x{path.name}")
        if kind == "rename":
            path.rename(other)
            return partial(_renamed, other, path)
        path.unlink()
    elif kind in ("edit", "forge"):
        return _edit(folder, random, forge=kind == "forge")
    else:
        changed = _changed(kind, data, files, random)
        if changed == data:
            return damage(folder, random)
        path.write_bytes(changed)
    return partial(_written, path, data)


def _renamed(path: Path, back: Path) -> None:
    path.rename(back)


def _written(path: Path, data: bytes) -> None:
    path.write_bytes(data)


def _changed(kind: str, data: bytes, files: list[Path], random: Random) -> bytes:
    at = random.randrange(len(data)) if data else 0
    if kind == "flip" and data:
        return data[:at] + bytes([data[at] ^ (1 << random.randrange(8))]) + data[at + 1 :]
    if kind == "cut":
        return data[:at]
    if kind == "zero":
        return data[:at] + bytes(min(512, len(data) - at)) + data[at + 512 :]
    if kind == "swap" and len(data) > 1:
        other = random.randrange(len(data))
        mixed = bytearray(data)
        mixed[at], mixed[other] = mixed[other], mixed[at]
        return bytes(mixed)
    if kind == "copy":
        return random.choice(files).read_bytes()
    return data + random.randbytes(random.randrange(1, 40))


def _edit(folder: Path, random: Random, *, forge: bool) -> Callable[[], None]:
    """Change what the manifest says; a forger makes its seal fit again."""
    kept = {name: (folder / name).read_bytes() for name in (MANIFEST, SEAL)}
    manifest = json.loads(kept[MANIFEST])
    name = random.choice(sorted(manifest["files"]))
    what = random.choice(["rows", "bytes", "sha256", "files", "format", "nothing"])
    if what == "rows":
        table = random.choice(sorted(manifest["rows"]))
        manifest["rows"][table] += random.choice((-1, 1))
    elif what == "bytes":
        manifest["files"][name]["bytes"] += random.choice((-1, 1))
    elif what == "sha256":
        digest = manifest["files"][name]["sha256"]
        manifest["files"][name]["sha256"] = digest[1:] + ("0" if digest[0] != "0" else "1")
    elif what == "files":
        del manifest["files"][name]
    else:
        manifest["format"] = f"canebench.backup/{random.randrange(2, 99)}"
    text = json.dumps(manifest).encode()
    (folder / MANIFEST).write_bytes(text)
    if forge:
        (folder / SEAL).write_bytes(seal_of(text))

    def back() -> None:
        for one, data in kept.items():
            (folder / one).write_bytes(data)

    return back


def missed(folder: Path, count: int, seed: int, verify: Callable[[Path], list[str]]) -> int:
    """How many of so many damages are not found."""
    random, unseen = Random(seed), 0  # noqa: S311
    for _ in range(count):
        take_back = damage(folder, random)
        unseen += verify(folder) == []
        take_back()
    assert verify_backup(folder) == []
    return unseen


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

    unseen = missed(backup, 1_000, _SEED, by_size)
    assert 200 < unseen < 1_000


def test_a_backup_that_is_none(tmp_path: Path, backup: Path) -> None:
    assert "no backup" in verify_backup(tmp_path)[0]
    shutil.copytree(backup, tmp_path / "copy")
    assert verify_backup(tmp_path / "copy") == []


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else -1
