"""The power cut at chance moments of commands that were traced once, and what is found in the folder then.

Guarded by `tests/faults/test_traced_cuts.py`, which has the controls.
"""

from __future__ import annotations

import pickle
import random
import shutil
import subprocess
import sys
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from canebench.store.backups.verify import verify_backup
from canebench.store.recordings import is_whole
from support.failing_commands import prepared
from support.power_cuts import dump_if_whole
from support.slow_disk import finding_support
from support.traced_disk import Image, TracedDisk

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from canebench.store.tables import Row
    from support.traced_files import Operation

_CHILD: Final = Path(__file__).parents[1] / "faults" / "tracing_child.py"
_SYNCS: Final = ("sync", "sync folder")


@dataclass(frozen=True, slots=True, kw_only=True)
class Traced:
    """What was in the folder, what was done on it, and the states that the ledger went through."""

    start: Mapping[str, bytes | None]
    numbers: Mapping[int, str]
    before: Mapping[str, list[Row]]
    operations: tuple[Operation, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Of so many cuts: what was found that must not be, each in words."""

    cuts: int
    #: Findings that differ.
    looked_at: int
    amiss: tuple[str, ...]

    def count(self, *kinds: str) -> int:
        """How many begin with one of some words."""
        return sum(one.startswith(kinds) for one in self.amiss)


def traced(folder: Path, setting: str = "") -> Traced:
    """The commands of the child, done once in a process of their own."""
    work, out = prepared(folder / "work"), folder / "trace"
    (work / "out").mkdir()
    command = [sys.executable, str(_CHILD), str(work), str(out), *([setting] if setting else [])]
    subprocess.run(command, env=finding_support(), check=True)
    start, numbers, before, operations = pickle.loads(out.read_bytes())  # noqa: S301 - our own child's
    return Traced(start=start, numbers=numbers, before=before, operations=tuple(operations))


def cut_often(folder: Path, of: Traced, *, cuts: int, ordered: bool, seed: int) -> Found:
    """So many cuts; equal findings are looked at once."""
    seen: dict[bytes, list[str]] = {}
    amiss: list[str] = []
    for image, told in _images(of, cuts=cuts, ordered=ordered, seed=seed):
        key = _digest(image, len(told))
        if key not in seen:
            seen[key] = list(_amiss(folder / "found", image, of, told))
        amiss += seen[key]
    return Found(cuts=cuts, looked_at=len(seen), amiss=tuple(amiss))


def _images(
    of: Traced, *, cuts: int, ordered: bool, seed: int
) -> Iterator[tuple[Image, list[dict[str, Any]]]]:
    """What is found after each cut, and what had been told before it."""
    chance = random.Random(seed)  # noqa: S311 - moments, not secrets
    steps = [at for at, one in enumerate(of.operations) if one[0] != "told"]
    cut_at = [chance.choice(steps) for _ in range(cuts)]
    # Where all is done in its order, less may be there than was done by then.
    moments = sorted((_some_before(of.operations, at, chance) if ordered else at, at) for at in cut_at)
    disk, done = TracedDisk(of.start, of.numbers), 0
    for upto, at in moments:
        while done <= upto:
            if of.operations[done][0] != "told":
                disk.do(of.operations[done])
            done += 1
        told = [one[1] for one in of.operations[: at + 1] if one[0] == "told"]
        yield (disk.live() if ordered else disk.after_a_cut(chance)), told


def _some_before(operations: tuple[Operation, ...], at: int, chance: random.Random) -> int:
    """An operation between the last sync and this one."""
    last = at
    while last > 0 and operations[last][0] not in _SYNCS:
        last -= 1
    return chance.randint(last, at)


def _digest(image: Image, told: int) -> bytes:
    whole = blake2b(str(told).encode(), digest_size=16)
    for name, content in sorted(image.items()):
        whole.update(name.encode() + b"\0" + (b"/" if content is None else blake2b(content).digest()))
    return whole.digest()


def _amiss(folder: Path, image: Image, of: Traced, told: list[dict[str, Any]]) -> Iterator[str]:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, content in sorted(image.items()):
        if content is None:
            (folder / name).mkdir(parents=True, exist_ok=True)
        else:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(content)
    yield from _ledger_amiss(folder, of, told)
    backed_up = {one["words"][1] for one in told if one.get("words", [""])[0] == "backup"}
    for name in ("backup", "out/one", "out/two"):
        there = (folder / name).exists()
        if not there and (name in backed_up or name == "backup"):
            yield f"backup lost: {name}"
        if there and (found := verify_backup(folder / name)):
            yield f"backup damaged: {name}: {found[0]}"
    restored = [one for one in told if one.get("words", [""])[0] == "restore"]
    kept = list(folder.glob("ledger-before-restore-*.db"))
    if len(kept) < len(restored):
        yield "ledger from before a restore lost"


def _ledger_amiss(folder: Path, of: Traced, told: list[dict[str, Any]]) -> Iterator[str]:
    path = folder / "ledger.db"
    if not path.exists():
        yield "ledger lost"
        return
    rows = dump_if_whole(path)
    if rows is None:
        yield "ledger damaged"
        return
    states = [of.before, *(one[1]["rows"] for one in of.operations if one[0] == "told" and "rows" in one[1])]
    at = sum("rows" in one for one in told)
    if rows not in states[at : at + 2]:
        yield "act lost" if rows in states else "ledger in no state that it ever had"
    for take in rows["takes"]:
        name = take["recording_sha256"]
        if name is not None and not is_whole(folder / "takes" / f"{name}.flac"):
            yield f"recording lost or damaged: {name}"
