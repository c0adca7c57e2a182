"""The bench served for a browser's tests: a process of its own, forked from one that has imported it all.

To import the page takes as long as most of these tests take besides. That it starts as its users start it is
held by `tests/web/test_serve.py` and `tests/doors/test_wheel.py`.
"""

from __future__ import annotations

import os
import signal
import sys
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Final

from support.running_bench import WAIT_MS, Bench

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from multiprocessing.connection import Connection
    from multiprocessing.context import ForkServerProcess

_CONTEXT: Final = get_context("forkserver")
_CONTEXT.set_forkserver_preload(["canebench.cli.upkeep.serve", "canebench.web.serve"])


def _run(arguments: Sequence[str], said: Connection, environment: dict[str, str], folder: str) -> None:
    """The command in the surroundings of who asked for it, which are not those of what it is forked from."""
    from canebench.cli.main import main  # noqa: PLC0415 - in the new process alone

    os.environ.clear()
    os.environ.update(environment)
    os.chdir(folder)
    os.dup2(said.fileno(), 1)
    sys.stdout = os.fdopen(1, "w", buffering=1, closefd=False)
    sys.argv = ["canebench", *arguments]
    main()


class ForkedServer:
    """The process, asked as one of `subprocess` is."""

    def __init__(self, process: ForkServerProcess) -> None:
        self._process = process

    @property
    def pid(self) -> int:
        """Its number."""
        assert self._process.pid is not None
        return self._process.pid

    def poll(self) -> int | None:
        """How it ended; None while it runs."""
        return self._process.exitcode

    def send_signal(self, number: int) -> None:
        """To a process that still runs."""
        if self._process.is_alive():
            os.kill(self.pid, number)

    def wait(self, timeout: float) -> int:
        """How it ended, within so many seconds."""
        self._process.join(timeout)
        code = self._process.exitcode
        if code is None:
            raise TimeoutError(f"the server did not end within {timeout:.0f} s")
        return code


@contextmanager
def serving(ledger: Path) -> Iterator[Bench]:
    """Serve the ledger until the end of the block."""
    arguments = ("serve", "--no-browser", "--who", "tester", "--new", "--ledger", str(ledger))
    reader, writer = _CONTEXT.Pipe(duplex=False)
    process = _CONTEXT.Process(target=_run, args=(arguments, writer, dict(os.environ), str(Path.cwd())))
    process.start()
    writer.close()
    server = ForkedServer(process)
    with reader, open(reader.fileno(), encoding="utf-8", closefd=False) as output:
        try:
            link = next((line.strip() for line in output if line.startswith("http")), "")
            assert link, "the server did not start"
            yield Bench(server=server, link=link)
        finally:
            server.send_signal(signal.SIGINT)
            server.wait(timeout=WAIT_MS / 1_000)
            process.close()
