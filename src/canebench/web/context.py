"""What every route works with: the ledger, who writes in it, and where recordings lie."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from canebench.bench.acts.ledger import Ledger, ledger_url, takes_folder, the_ledger, the_writer
from canebench.bench.acts.upkeep.demo_season import is_season
from canebench.web.live.recordings import Recordings

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from starlette.requests import HTTPConnection

    from canebench.bench.acts.ledger import Writer
    from canebench.web.live.measurings import Measuring


class NotedLedger(Ledger):
    """A ledger for one request: it notes the acts done, so that the page can offer to undo them."""

    def __init__(self, ledger: Ledger) -> None:
        super().__init__(ledger.database, clock=ledger.clock)
        self.acts: list[int] = []
        self.measuring: Measuring | None = None

    def begin_to_keep(self) -> None:
        """Refused where the take was given up meanwhile."""
        if self.measuring is not None:
            self.measuring.keep()

    @contextmanager
    def act(self, kind: str, *, who: str, said: str) -> Iterator[Writer]:
        """One act, noted once it is done."""
        with super().act(kind, who=who, said=said) as writer:
            yield writer
        self.acts.append(writer.act_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchContext:
    """One bench: `given_url` is the ledger as the person named it, None for their own.

    `season` where it is the invented season; `home` is then the address of the bench it was opened from, ""
    where it was opened by itself.
    """

    given_url: str | None
    ledger: Ledger
    who: str
    takes: Path
    recordings: Recordings
    season: bool = False
    home: str = ""

    def noted(self) -> NotedLedger:
        """The ledger for a request that changes something."""
        return NotedLedger(self.ledger)


def open_context(given_url: str | None, who: str | None, *, home: str = "") -> BenchContext:
    """Open the ledger, brought to this version's schema."""
    takes = takes_folder(given_url)
    return BenchContext(
        given_url=given_url,
        ledger=the_ledger(given_url),
        who=the_writer(who),
        takes=takes,
        recordings=Recordings(takes / "unfinished"),
        season=is_season(ledger_url(given_url)),
        home=home,
    )


def context_of(connection: HTTPConnection) -> BenchContext:
    """The bench that this request belongs to."""
    context = connection.app.state.context
    if not isinstance(context, BenchContext):
        raise TypeError("the app has no context")
    return context
