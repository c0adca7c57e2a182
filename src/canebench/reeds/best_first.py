"""The first reeds that suit a player, without hearing all: takes are read only where they can matter.

What a take tells only adds to a score, so that a reed stands at best where its strength and pinches put it.
Reeds are taken in the order of that, and heard before they are told. Guarded by
`tests/store/test_choice_by_hand.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from heapq import heappop, heappush
from typing import TYPE_CHECKING, Final

from canebench.reeds.ranking import Candidate, Rank, rank, ties
from canebench.reeds.states import NOT_OFFERED

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

#: So many reeds are heard at once.
_AT_ONCE: Final = 250


@dataclass(frozen=True, slots=True)
class Pool:
    """Reeds that are read together, when they may be the next: none of them stands before `least`.

    The pool after it is asked for once it was read.
    """

    least: Rank
    read: Callable[[], Sequence[Candidate]]


def best_first(
    pools: Iterable[Pool],
    hear: Callable[[Sequence[Candidate]], Sequence[Candidate]],
    *,
    blows_kpa: float,
    ceiling_kpa: float | None,
    first: int | None,
) -> list[tuple[Rank, Candidate]]:
    """The first reeds of all pools in order, and those after them that tie with the last.

    Guarded by `tests/store/test_choice_by_hand.py`.

    Parameters
    ----------
    pools : iterable of Pool
        In the order of the least rank in each; candidates as they are without what their takes tell.
    hear : callable
        Gives candidates what their takes tell.
    blows_kpa, ceiling_kpa : number
        What the player blows now, and must not blow past (None for no ceiling), kPa.
    first : int or None
        How many are wanted; all for None.

    Returns
    -------
    list of pairs of Rank and Candidate
        As `choice.worded` takes them.
    """
    found: list[tuple[Rank, Candidate]] = []
    heap: list[tuple[Rank, int, Candidate, bool]] = []
    unread, added = iter(pools), 0
    upcoming = next(unread, None)

    def add(candidates: Sequence[Candidate], *, heard: bool) -> None:
        nonlocal added
        for one in candidates:
            added += 1
            place = rank(one, blows_kpa=blows_kpa, ceiling_kpa=ceiling_kpa)
            # Of one that is offered to nobody nothing is told that a take could add.
            heappush(heap, (place, added, one, heard or one.state in NOT_OFFERED))

    while heap or upcoming is not None:
        pool = upcoming if upcoming is not None and (not heap or upcoming.least <= heap[0][0]) else None
        nearest = heap[0][0] if pool is None else pool.least
        if first is not None and len(found) >= first and not (first and ties(found[first - 1][0], nearest)):
            break
        if pool is not None:
            add(pool.read(), heard=False)
            upcoming = next(unread, None)
            continue
        place, _, one, told = heap[0]
        if told:
            heappop(heap)
            found.append((place, one))
            continue
        unheard: list[Candidate] = []
        ready = []
        while heap and len(unheard) < _AT_ONCE:
            entry = heappop(heap)
            if entry[3]:
                ready.append(entry)
            else:
                unheard.append(entry[2])
        for entry in ready:
            heappush(heap, entry)
        add(hear(unheard), heard=True)
    return found
