"""The plan beside the best there is: by another's integer solver, and on tiny cases by trying everything."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from itertools import combinations, pairwise
from time import process_time

import pytest

from canebench.reeds.breaking_in.assignment import assigned
from canebench.reeds.breaking_in.bound import most_possible
from canebench.reeds.breaking_in.chances import StillToPlay
from canebench.reeds.breaking_in.days import days_between, player_days
from canebench.reeds.breaking_in.jobs import Job, Work, work_of
from canebench.reeds.breaking_in.ladder import Ladder
from canebench.reeds.breaking_in.people import PlayerTime, ReedToBreakIn
from canebench.reeds.breaking_in.plan import plan_breaking_in
from support.break_in_optimum import most_reeds

_NOW = datetime(2031, 3, 24, 9, 0, tzinfo=UTC)


def _work(seed: int, *, players: int, reeds: int, days: int, ladder: Ladder, most_min: float) -> Work:
    """A band with too little time for all its reeds."""
    rng = random.Random(seed)  # noqa: S311 - bands, no secrets
    people = [
        PlayerTime(
            name=f"player {number}",
            minutes=tuple(rng.choice([0.0, 8.0, 12.0, 15.0, 20.0]) for _ in range(7)),
            zone="Europe/Dublin",
            sessions_a_day=rng.choice([1, 2, 3]),
        )
        for number in range(players)
    ]
    given = [
        ReedToBreakIn(
            number=str(number),
            still=StillToPlay(median_min=rng.uniform(10.0, most_min)),
            had=rng.choice([0, 0, 2]),
            player=rng.choice([None, None, "player 0"]),
        )
        for number in range(reeds)
    ]
    dates = days_between(_NOW, _NOW.date() + timedelta(days=days))
    own = [player_days(one, dates, now=_NOW, rest_h=ladder.rest_h) for one in people]
    caps = [rng.choice([2, reeds]) for _ in people]
    return work_of(given, people, own, caps, ladder=ladder, sure=0.8)


_LADDER = Ladder(minutes=(5, 5, 8, 10), rest_h=20.0)


def test_the_best_plan_lies_between_what_is_found_and_the_bound() -> None:
    """Thirty bands; the best is found in all but a few, the bound is missed by one at the most in most."""
    found_best, bound_off, proven = 0, [], 0
    for seed in range(30):
        work = _work(seed, players=2, reeds=6, days=12, ladder=_LADDER, most_min=60.0)
        placed, bound = assigned(work)
        found = sum(len(own) for own in placed)
        best, no_more = most_reeds(work)
        assert no_more < best + 1, "the solver has proven its own"
        assert found <= best <= bound
        found_best += found == best
        bound_off.append(bound - best)
        proven += found == bound
    assert found_best >= 28
    assert max(bound_off) <= 1
    assert proven >= 20


def test_control_prices_that_are_not_a_bound_are_seen() -> None:
    """Were a player's places one fewer, the bound would lie below the best."""
    below = 0
    for seed in range(10):
        work = _work(seed, players=2, reeds=6, days=12, ladder=_LADDER, most_min=60.0)
        fewer = Work(days=work.days, caps=tuple(cap - 2 for cap in work.caps), jobs=work.jobs, reeds=6)
        below += most_possible(fewer, [0, 0]) < most_reeds(work)[0]
    assert below >= 1


def _all_ways(job: Job, work: Work) -> list[tuple[int, ...]]:
    """Every choice of days for a job's sessions."""
    days = work.days[job.player]
    return [
        ways
        for ways in combinations(range(job.first, len(days.dates)), len(job.lengths))
        if all(days.after[a] <= b for a, b in pairwise(ways))
    ]


def _fits(work: Work, jobs: list[Job], left: dict[tuple[int, int], tuple[float, int]]) -> bool:
    if not jobs:
        return True
    job, rest = jobs[0], jobs[1:]
    for ways in _all_ways(job, work):
        room = dict(left)
        for day, length in zip(ways, job.lengths, strict=True):
            minutes, rooms = room[job.player, day]
            room[job.player, day] = (minutes - length, rooms - 1)
        if all(m >= -1e-9 and r >= 0 for m, r in room.values()) and _fits(work, rest, room):
            return True
    return False


def _most_by_trying(work: Work) -> int:
    left = {
        (player, day): (minutes, days.most)
        for player, days in enumerate(work.days)
        for day, minutes in enumerate(days.minutes)
    }
    for count in range(work.reeds, 0, -1):
        for chosen in combinations(sorted(work.jobs), count):
            counts = [sum(player == at for _, at in chosen) for player in range(len(work.days))]
            each_once = len({reed for reed, _ in chosen}) == count
            allowed = each_once and all(a <= b for a, b in zip(counts, work.caps, strict=True))
            if allowed and _fits(work, [work.jobs[pair] for pair in chosen], left):
                return count
    return 0


@pytest.mark.parametrize("seed", range(12))
def test_on_tiny_bands_nothing_better_is_found_by_trying_everything(seed: int) -> None:
    ladder = Ladder(minutes=(5, 8), rest_h=20.0)
    work = _work(100 + seed, players=2, reeds=3, days=5, ladder=ladder, most_min=20.0)
    best = _most_by_trying(work)
    assert most_reeds(work)[0] == best
    placed, bound = assigned(work)
    assert sum(len(own) for own in placed) == best <= bound


def test_a_season_of_a_whole_band_is_planned_in_seconds_of_cpu_and_says_its_gap() -> None:
    """Twenty players, sixty reeds, eight weeks: with time enough all are placed, and that is proven."""
    rng = random.Random(7)  # noqa: S311 - bands, no secrets
    people = [
        PlayerTime(
            name=f"player {number}",
            minutes=(*(rng.choice([20.0, 30.0, 45.0]) for _ in range(6)), 0.0),
            zone="Europe/Dublin",
        )
        for number in range(20)
    ]
    reeds = [
        ReedToBreakIn(
            number=str(number),
            still=StillToPlay(median_min=rng.uniform(120.0, 300.0), log_sd=rng.uniform(0.1, 0.5)),
        )
        for number in range(60)
    ]
    for weeks, gap in ((8, 0), (5, 12)):
        begin = process_time()
        plan = plan_breaking_in(people, reeds, now=_NOW, settled_by=_NOW.date() + timedelta(weeks=weeks))
        assert process_time() - begin < 5.0
        assert plan.gap <= gap
        assert len(plan.reeds) >= (60 if weeks == 8 else 40)
