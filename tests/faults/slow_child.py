"""`canebench serve` on a slow disk: LEAST_S MOST_S SEED WAIT_S HOW LEDGER.

WAIT_S is how long a lock is waited for. HOW is `honest`, or `early`: then acts are told done and never kept,
as by a bench that answers first and writes later, and is killed before.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from canebench.cli.main import cli
from canebench.store import sqlite
from support.slow_disk import make_disk_slow

if TYPE_CHECKING:
    import sqlite3


def main() -> None:
    least_s, most_s, seed, wait_s, how, ledger = sys.argv[1:]
    sqlite.WAIT_S = float(wait_s)  # type: ignore[misc]
    if how == "early":

        def forget(_: sqlite.Sqlite, raw: sqlite3.Connection) -> None:
            raw.execute("ROLLBACK")

        sqlite.Sqlite._commit = forget  # type: ignore[assignment,method-assign]
    make_disk_slow(float(least_s), float(most_s), seed=int(seed))
    cli(["serve", "--no-browser", "--who", "tester", "--port", "0", "--ledger", ledger])


if __name__ == "__main__":
    main()
