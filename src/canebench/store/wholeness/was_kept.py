"""Whether an act was kept whose end nobody told: it is looked up by its own digest, which no other act has.

Guarded by `tests/store/test_server_lost.py`.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Final

from canebench.store.database import LedgerError

if TYPE_CHECKING:
    from canebench.store.database import Database

#: For so long the ledger is asked again, s, every so many: a server that starts anew takes a few.
_ASK_S: Final = 20.0
_EVERY_S: Final = 0.5


def was_kept(database: Database, act_id: int, digest: str | None) -> bool | None:
    """Whether the ledger holds the act of that number and digest; None where it does not answer.

    An act without a digest changed nothing: that is so either way.
    """
    if digest is None:
        return True
    until = time.monotonic() + _ASK_S
    while True:
        answers: list[bool] = []
        try:
            # As one who writes: whatever a server still does of the act is over then, one way or the other.
            with database.write() as connection:
                found = connection.rows("SELECT digest FROM acts WHERE id = ?", [act_id])
                answers.append(bool(found) and found[0]["digest"] == digest)
        except LedgerError:
            if not answers and time.monotonic() < until:
                time.sleep(_EVERY_S)
                continue
        return answers[0] if answers else None
