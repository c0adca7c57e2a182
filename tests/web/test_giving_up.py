"""A take that is given up while it is measured leaves nothing; one that is kept is not given up any more."""

from __future__ import annotations

import asyncio
from importlib.resources import files
from pathlib import Path
from threading import Barrier, Thread
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import pytest

from canebench.bench.acts.fitting.fit_reed import fit_reed
from canebench.bench.acts.fitting.measure_take import DEMO_FILE
from canebench.bench.acts.fitting.one_round import one_round
from canebench.web.live.measurings import GivenUpError, Measuring, Measurings, give_up_where_gone
from support.ledgers import dump_of

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient


@pytest.fixture
def place(empty_client: TestClient) -> str:
    answer = empty_client.post("/fit", data={"reed": "7", "chanter": "one"}, follow_redirects=False)
    return str(answer.headers["location"]).partition("?")[0]


def _given(client: TestClient, place: str, attempt: str, sound: Path) -> int:
    with sound.open("rb") as file:
        told = {"how": "file", "since": "nothing", "attempt": attempt}
        return client.post(f"{place}/take", data=told, files={"file": ("a.flac", file)}).status_code


def _kept(client: TestClient, attempt: str) -> bool:
    found: bool = client.post(f"/fit/give-up/{attempt}").json()["kept"]
    return found


@pytest.fixture
def sound() -> Path:
    return Path(str(files("canebench") / "demo" / DEMO_FILE))


def test_given_up_while_it_is_measured_nothing_is_kept(
    empty_client: TestClient,
    empty_app: Starlette,
    place: str,
    sound: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    context, attempt = empty_app.state.context, str(uuid4())
    before = dump_of(context.ledger)

    def given_up_meanwhile(*asked: Any) -> object:
        assert not _kept(empty_client, attempt)
        return one_round(*asked)

    monkeypatch.setattr(f"{fit_reed.__module__}.one_round", given_up_meanwhile)
    assert _given(empty_client, place, attempt, sound) == 409
    assert dump_of(context.ledger) == before
    assert list(context.takes.glob("*.flac")) == []


def test_control_not_given_up_it_is_kept_and_too_late_to_give_up(
    empty_client: TestClient, empty_app: Starlette, place: str, sound: Path
) -> None:
    attempt = str(uuid4())
    assert _given(empty_client, place, attempt, sound) == 200
    assert len(list(empty_app.state.context.takes.glob("*.flac"))) == 1
    assert _kept(empty_client, attempt)


def test_it_may_be_given_up_before_its_file_has_come(
    empty_client: TestClient, empty_app: Starlette, place: str, sound: Path
) -> None:
    attempt = str(uuid4())
    assert not _kept(empty_client, attempt)
    assert _given(empty_client, place, attempt, sound) == 409
    assert list(empty_app.state.context.takes.glob("*.flac")) == []
    # Another attempt is another.
    assert _given(empty_client, place, str(uuid4()), sound) == 200


def test_it_is_kept_or_given_up_and_never_both() -> None:
    for _ in range(200):
        measuring, start = Measuring(), Barrier(2)
        said: list[str] = []

        def keep(measuring: Measuring = measuring, start: Barrier = start, said: list[str] = said) -> None:
            start.wait()
            try:
                measuring.keep()
                said.append("kept")
            except GivenUpError:
                said.append("refused")

        thread = Thread(target=keep)
        thread.start()
        start.wait()
        gone = measuring.give_up()
        thread.join()
        assert said == ["refused" if gone else "kept"]


class _Browser:
    """A request of a browser that stays for a while and then has gone."""

    def __init__(self, looks: int) -> None:
        self.looks = looks

    async def is_disconnected(self) -> bool:
        self.looks -= 1
        return self.looks < 0


@pytest.mark.parametrize("looks", [0, 2])
def test_a_browser_that_has_gone_gives_up(looks: int) -> None:
    measuring = Measuring()
    asyncio.run(give_up_where_gone(_Browser(looks), measuring))  # type: ignore[arg-type]
    with pytest.raises(GivenUpError, match="nothing of it was kept"):
        measuring.keep()


def test_only_the_newest_attempts_are_remembered_and_names_are_names() -> None:
    known = Measurings()
    first = str(uuid4())
    known.named(first).give_up()
    with pytest.raises(GivenUpError):
        known.named(first).keep()
    for _ in range(64):
        known.named(str(uuid4()))
    known.named(first).keep()
    for name in (None, "", "x" * 36, "../" * 12):
        known.named(name).give_up()
        known.named(name).keep()
