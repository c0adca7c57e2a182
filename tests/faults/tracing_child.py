"""Commands in a folder, every operation on its files written down: `tracing_child.py FOLDER OUT [SETTING]`.

The folder is as `support/failing_commands.prepared` makes it. What is done: fits by numbers and from a
recording, acts of the reeds, two backups, two restores. Each act, and each command, is told once it is
acknowledged, with all that the ledger held then where that changed. OUT is a pickle. SETTING is for a
control: another `PRAGMA synchronous`, or `unsynced`, where nothing that Python is asked to sync is synced.
"""

from __future__ import annotations

import os
import pickle
import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from click.testing import CliRunner

from canebench.cli.main import cli
from canebench.store import ledger as ledgers
from canebench.store import sqlite
from support.failing_commands import QUICK, SLOW
from support.ledgers import dump_of
from support.traced_files import Trace

if TYPE_CHECKING:
    from collections.abc import Iterator

_COMMANDS = (
    QUICK["fit typed"],
    ("play", "1", "--minutes", "12"),
    ("backup", "out/one"),
    ("ease", "1"),
    SLOW["fit"],
    ("strength", "1", "--playing", "28 inH2O"),
    ("restore", "out/one", "--yes"),
    ("lot", "autumn", "--count", "3"),
    ("undo",),
    SLOW["fit"],
    ("backup", "out/two"),
    ("restore", "backup", "--yes"),
    ("lot", "late", "--count", "30"),
)
_PLACED = ("out/", "backup", "take.wav")


def main() -> None:
    folder, out = Path(sys.argv[1]), Path(sys.argv[2])
    setting = sys.argv[3] if len(sys.argv) > 3 else ""
    if setting and setting != "unsynced":
        told = f"PRAGMA synchronous={setting}"
        settings = tuple(told if "synchronous" in one else one for one in sqlite.SETTINGS)
        sqlite.SETTINGS = settings  # type: ignore[assignment,misc]
    start = {
        path.relative_to(folder).as_posix(): None if path.is_dir() else path.read_bytes()
        for path in folder.rglob("*")
    }
    url = str(folder / "ledger.db")
    before = dump_of(ledgers.open_ledger(url))
    trace = Trace(folder)
    if setting == "unsynced":
        os.fsync = lambda fd: None  # noqa: ARG005
    numbers = {trace.number(name): name for name, content in start.items() if content is not None}
    _tell_acts(trace, url)
    for words in _COMMANDS:
        placed = [
            str(folder / word) if n and word.startswith(_PLACED) else word for n, word in enumerate(words)
        ]
        done = CliRunner().invoke(cli, [*placed, "--ledger", url], env={"CANEBENCH_WHO": "Ailsa"})
        assert done.exit_code == 0, (words, done.output)
        heard: dict[str, Any] = {"words": words}
        if words[0] == "restore":
            heard["rows"] = dump_of(ledgers.open_ledger(url))
        trace.told(heard)
    out.write_bytes(pickle.dumps((start, numbers, before, trace.operations)))


def _tell_acts(trace: Trace, url: str) -> None:
    """Each act of the ledger once it is kept."""
    real = ledgers.Ledger.act

    @contextmanager
    def act(self: ledgers.Ledger, kind: str, *, who: str, said: str) -> Iterator[Any]:
        with real(self, kind, who=who, said=said) as writer:
            yield writer
        trace.told({"rows": dump_of(ledgers.open_ledger(url))})

    ledgers.Ledger.act = act  # type: ignore[method-assign]


if __name__ == "__main__":
    main()
