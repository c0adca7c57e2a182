"""Help: what it says of its picture and of beats is what the program reckons, and its links lead on."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.scales import published_scales
from canebench.base.units import hz_to_cents
from canebench.bench.views.drawing.example_beam import CENTS, beats
from support.web_client import closed_up

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.testclient import TestClient


def three_numbers(cents: Mapping[str, float]) -> tuple[str, str, str]:
    """Height, tilt and the largest rest in the help's words, reckoned here from their definition."""
    scale = next(iter(published_scales().values()))
    low, high = cents[LOW_A], cents[HIGH_A]
    height, tilt = (low + high) / 2, high - low
    octave = scale.cents(HIGH_A) - scale.cents(LOW_A)
    rest = {
        note: cents[note] - low - tilt * (scale.cents(note) - scale.cents(LOW_A)) / octave for note in NOTES
    }
    most = max(rest, key=lambda note: abs(rest[note]))
    side = "flat" if height < 0 else "sharp"
    return (
        f"{abs(height):.0f} cents {side}.",
        f"{abs(tilt):.0f} cents {'narrow' if tilt < 0 else 'wide'}.",
        f"{most} {abs(rest[most]):.0f} cents {'above' if rest[most] > 0 else 'below'} the beam.",
    )


def test_the_words_fit_the_picture(client: TestClient) -> None:
    page = client.get("/help").text
    for words in three_numbers(CENTS):
        assert f"<strong>{words}</strong>" in page
    # The control: readings a little different would not be what the words say.
    changed = three_numbers({**CENTS, HIGH_A: CENTS[HIGH_A] + 4.0})
    assert not any(f"<strong>{words}</strong>" in page for words in changed)


def test_a_beat_is_as_many_cents_as_it_says(client: TestClient) -> None:
    page = closed_up(client.get("/help").text)
    told = {note: float(cents) for note, cents in beats()}
    for note, ratio in (("low A", 1.0), ("C", 5 / 4), ("E", 3 / 2), ("high A", 2.0)):
        hz = 480.0 * ratio
        # A note that is so many cents off beats once a second with the partial it should lie on.
        assert told[note] == pytest.approx(hz_to_cents(hz + 1.0, hz), abs=0.06)
        assert f'<th scope="row">{note}</th><td class="number">{told[note]:.1f} cents</td>' in page


def test_its_links_lead_somewhere(client: TestClient) -> None:
    page = client.get("/help").text
    main = page[page.index("<main") : page.index("</main>")]
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    for place in re.findall(r'href="#([^"]+)"', main):
        assert place in ids
    links = set(re.findall(r'href="(/[^"]*)"', main))
    assert {"/reeds", "/choose", "/microphone", "/chanters", "/exchange", "/history", "/care"} <= links
    for link in links:
        assert client.get(link).status_code == 200, link
    assert not re.search(r"""(?:src|href)=["']?(?:https?:)?//""", main)


def test_it_says_where_this_bench_keeps_its_things(client: TestClient, empty_client: TestClient) -> None:
    for one in (client, empty_client):
        page = one.get("/help").text
        assert "ledger.db" in page
        assert "local rules and qualified people" in page
