"""Random damages to a backup's files and manifest, each taken back after it was looked for."""

from __future__ import annotations

import json
from functools import partial
from random import Random
from typing import TYPE_CHECKING, Final

from canebench.store.backups.verify import MANIFEST, SEAL, seal_of, verify_backup

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

_KINDS: Final = (
    *("flip", "flip", "flip", "cut", "more", "zero", "swap"),
    *("remove", "rename", "extra", "copy", "edit", "forge"),
)


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
