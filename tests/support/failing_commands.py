"""Every command that writes, its n-th operation on files failing, until it succeeds: old state or new, said.

A command is run in a copy of one folder, which holds a small ledger, a backup of it and files to bring in.
"""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from click.testing import CliRunner

from canebench.bench.acts.upkeep.safekeeping import back_up
from canebench.cli.main import cli
from canebench.sound.files.encode import write_recording
from canebench.sound.synth import Recipe, render, scale_notes
from canebench.store.backups.verify import verify_backup
from canebench.store.ledger import open_ledger
from support.failing_files import ERRORS, FailingFiles, failing_files
from support.ledgers import amiss_of

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result

#: A recording is kept before its take is written down: without one it harms nothing, and is found again.
_NOT: Final = ("new", "takes", "snapshots")
#: Snapshots, and what is on its way to its name: the ledgers in these are no state of the folder.
_HIDDEN: Final = re.compile(r"(^|/)(\.|snapshots/)")
_TIMES: Final = re.compile(r"\d{4}-\d\d-\d\d(T[\d:.]+Z)?|[0-9a-f]{64}")
_TYPED: Final = ("--typed", "low A=478 Hz", "--typed", "high A=950 Hz", "--as-typed")
_FIT: Final = ("fit", "--reed", "1", "--chanter", "three")
#: In the folder, by a short name: quick ones, then those that take a second or more.
QUICK: Final = {
    "lot": ("lot", "autumn", "--count", "3"),
    "new ledger": ("lot", "autumn", "--count", "3", "--ledger", "new/ledger.db", "--new"),
    "player": ("player", "Isla", "--blows", "28 inH2O"),
    "drone": ("drone", "tenor", "--kind", "tenor"),
    "move": ("move", "1", "on trial", "--reason", "nearest"),
    "ease": ("ease", "1"),
    "play": ("play", "1", "--minutes", "12"),
    "strength": ("strength", "1", "--playing", "28 inH2O"),
    "undo": ("undo",),
    "fit typed": (*_FIT, *_TYPED),
    "fit to a file": (*_FIT, *_TYPED, "--to", "out/reed.json"),
    "backup": ("backup", "out/backup"),
    "restore": ("restore", "backup", "--yes"),
    "export json": ("export", "--to", "out/all.json"),
    "export csv": ("export", "--to", "out/all", "--format", "csv"),
    "export xlsx": ("export", "--to", "out/all.xlsx"),
    "export over": ("export", "reeds", "--to", "over.csv", "--force"),
    "import": ("import", "in.json", "--yes"),
    "migrate": ("lot", "autumn", "--count", "3", "--ledger", "old/ledger.db"),
}
SLOW: Final = {
    "synth": ("synth", "out/take.flac", "--low-a", "478", "--seed", "4", "--hold", "0.5"),
    "card": ("card", "1", "--out", "out/card.pdf"),
    "labels": ("labels", "--lot", "spring", "--out", "out/labels.pdf"),
    "export parquet": ("export", "--to", "out/all", "--format", "parquet"),
    "fit": (*_FIT, "take.wav"),
    "demo": ("demo", "out/demo"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of one run: `amiss` says what was neither right nor said, `left` what lies about."""

    step: int
    failed: str | None
    exit_code: int
    amiss: tuple[str, ...]
    left: tuple[str, ...]


def prepared(folder: Path) -> Path:
    """The folder that each run starts from a copy of."""
    folder.mkdir()
    ledger = str(folder / "ledger.db")
    for words in (
        ("lot", "spring", "--count", "2", "--new"),
        ("player", "Morag", "--blows", "28 inH2O"),
    ):
        assert _run(*words, "--ledger", ledger).exit_code == 0
    from canebench.bench.acts.reeds.chanters import keep_chanter  # noqa: PLC0415

    keep_chanter(open_ledger(ledger), "three", who="Ailsa", sizes=None)
    back_up(ledger, folder / "backup", who="Ailsa")
    other = str(folder / "other.db")
    assert _run("lot", "winter", "--count", "2", "--first", "70", "--new", "--ledger", other).exit_code == 0
    assert _run("export", "--to", str(folder / "in.json"), "--ledger", other).exit_code == 0
    (folder / "other.db").unlink()
    (folder / "over.csv").write_text("what was there\n")
    _make_old(folder / "old")
    recording, _ = render(Recipe(low_a_hz=478, seed=1, notes=scale_notes("low A", "B", duration_s=1.2)))
    write_recording(recording, folder / "take.wav")
    return folder


def _make_old(folder: Path) -> None:
    """A ledger of the first release."""
    from canebench.store.migrate import make_at  # noqa: PLC0415
    from canebench.store.sqlite import Sqlite  # noqa: PLC0415

    folder.mkdir()
    make_at(Sqlite(folder / "ledger.db"), "0002")


def _run(*words: str) -> Result:
    return CliRunner().invoke(cli, list(words), prog_name="canebench", env={"CANEBENCH_WHO": "Ailsa"})


def outcomes(
    start: Path,
    work: Path,
    words: tuple[str, ...],
    *,
    first: int = 1,
    every: int = 1,
    most: int = 10_000,
    error: int = 0,
    lasting: bool = False,
) -> list[Outcome]:
    """One run for each operation that the command does, that one failing, until none is left that could.

    Of those operations every so many, beginning with one, and no more than `most` runs.
    """
    old = _state(_copied(start, work))
    assert _run(*_placed(words, work)).exit_code == 0, words
    new = _state(work)
    found: list[Outcome] = []
    step = first - every
    while len(found) < most and (not found or found[-1].failed is not None):
        step += every
        _copied(start, work)
        number = ERRORS[(error + step // every) % len(ERRORS)]
        failing = FailingFiles((work,), fails=step, number=number, lasting=lasting)
        with failing_files(failing):
            done = _run(*_placed(words, work))
        found.append(_judged(work, done, failing, old=old, new=new, step=step))
    return found


def _copied(start: Path, work: Path) -> Path:
    shutil.rmtree(work, ignore_errors=True)
    shutil.copytree(start, work)
    (work / "out").mkdir()
    return work


def _placed(words: tuple[str, ...], work: Path) -> list[str]:
    """The words with their paths in the folder."""
    paths = ("out/", "new/", "old/", "backup", "in.json", "over.csv", "take.wav")
    placed = [str(work / word) if n and word.startswith(paths) else word for n, word in enumerate(words)]
    if "--ledger" not in words and words[0] not in ("synth", "demo"):
        placed += ["--ledger", str(work / "ledger.db")]
    return placed


def _state(work: Path) -> str:
    """Everything but times and names that differ from run to run: rows, and the files that are not hidden.

    A ledger in which nothing was ever done is as none.
    """
    rows = {str(path.relative_to(work)): _rows(path) for path in _ledgers(work)}
    files = sorted(
        str(path.relative_to(work))
        for path in work.rglob("*")
        if not any(part.startswith(".") or part in _NOT for part in path.relative_to(work).parts)
        and not path.name.startswith(("ledger.db", "ledger-before-restore"))
    )
    over = (work / "over.csv").read_bytes() == b"what was there\n"
    held = {name: found for name, found in rows.items() if found}
    return _TIMES.sub("…", json.dumps([held, files, over], sort_keys=True))


def _ledgers(work: Path) -> list[Path]:
    return sorted(path for path in work.rglob("ledger.db") if not _HIDDEN.search(str(path.relative_to(work))))


def _rows(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """As they lie there, of whatever revision."""
    with closing(sqlite3.connect(path)) as raw:
        names = [name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        found = {name: raw.execute(f"SELECT * FROM {name}").fetchall() for name in names}  # noqa: S608
        # An act that changed nothing leaves out its number.
        found["counters"] = [one for one in found.get("counters", []) if one[0] != "acts"]
        return found if found.get("acts") else {}


def _judged(work: Path, done: Result, failing: FailingFiles, *, old: str, new: str, step: int) -> Outcome:
    amiss = []
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        amiss.append(f"traceback: {type(done.exception).__name__}: {done.exception}")
    elif done.exit_code and not re.search(r"\w+ \w+ \w+", done.stderr):
        amiss.append(f"no sentence: {done.stderr!r}")
    hidden = tuple(str(path.relative_to(work)) for path in work.rglob(".*") if path.name != ".canebench-demo")
    state = _state(work)
    if state not in (old, new) and "all else is done" not in done.stderr:
        amiss.append("neither the old state nor the new")
    if not done.exit_code and state != new:
        amiss.append("told done, and it was not")
    unchanged = re.search("(?i)nothing was changed|the ledger is as it was", done.stderr)
    if unchanged and state != old:
        amiss.append("told unchanged, and it was changed")
    amiss += amiss_of(open_ledger(str(work / "ledger.db")))
    for backup in (work / "out" / "backup", *(work / "snapshots").glob("[!.]*")):
        amiss += verify_backup(backup) if backup.exists() else []
    if hidden and not failing.may_leave:
        amiss.append(f"left behind: {', '.join(hidden)}")
    return Outcome(
        step=step, failed=failing.failed, exit_code=done.exit_code, amiss=tuple(amiss), left=hidden
    )
