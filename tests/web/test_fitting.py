"""The fitting on the page: every way to a take, what was done, undo, and nothing typed is lost."""

from __future__ import annotations

import re
from importlib.resources import files
from typing import TYPE_CHECKING

import pytest

from canebench.base.notes import NOTES
from canebench.base.scales import DEFAULT_SCALE
from canebench.bench.acts.fitting.measure_take import DEMO_FILE, measure_take
from canebench.store.records import EaseRecord, PitchRecord, SettingRecord, TakeRecord, TapeRecord
from support.web_client import signed_in

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.applications import Starlette
    from starlette.testclient import TestClient

    from canebench.web.security.sign_in import SignIn

#: An ordinary first take against its own low A: the top hand is flat.
TYPED = dict(zip(NOTES, (417.0, 475.2, 533.5, 590.0, 633.0, 711.0, 788.0, 828.0, 935.0), strict=True))


def typed(**more: str) -> dict[str, str]:
    return {"how": "typed", "unit": "Hz", **{f"typed-{n}": f"{hz:g}" for n, hz in TYPED.items()}, **more}


def begun(client: TestClient, reed: str = "77", chanter: str = "new one") -> str:
    answer = client.post("/fit", data={"reed": reed, "chanter": chanter}, follow_redirects=False)
    assert answer.status_code == 303
    return str(answer.headers["location"]).partition("?")[0]


def test_begin_adds_what_is_new_once(empty_client: TestClient) -> None:
    place = begun(empty_client)
    assert begun(empty_client) == place
    page = empty_client.get(place).text
    assert "A clean start" in page
    assert "Reed" in page
    assert "residue" in page


def test_typed_readings_become_a_beam_and_an_act(empty_client: TestClient) -> None:
    place = begun(empty_client)
    answer = empty_client.post(f"{place}/take", data=typed(since="nothing"))
    assert answer.status_code == 200
    assert "octave narrow" in answer.text
    assert "Seat the reed" in answer.text
    assert "475.2" in answer.text
    assert answer.text.count("<svg") >= 3


@pytest.mark.parametrize(
    ("in_tune", "tape"), [(True, "Tape now<"), (False, "Tape now, and dotted as planned<")]
)
def test_each_id_stands_once_with_tape_planned_and_without(
    empty_client: TestClient, tape: str, *, in_tune: bool
) -> None:
    place = begun(empty_client)
    scale = {f"typed-{note}": f"{476 * DEFAULT_SCALE.ratios[note]:.2f}" for note in NOTES}
    page = empty_client.post(
        f"{place}/take", data=typed(since="nothing") | (scale if in_tune else {"typed-C": "599"})
    ).text
    assert tape in page
    ids = re.findall(r' id="([^"]+)"', page)
    assert "setting-title" in ids
    assert sorted({one for one in ids if ids.count(one) > 1}) == []


def test_enter_in_a_reading_takes_the_readings(empty_client: TestClient) -> None:
    """A browser then sends the form's first button, that of the file."""
    place = begun(empty_client)
    assert "475.2" in empty_client.post(f"{place}/take", data=typed(since="nothing", how="file")).text
    refused = empty_client.post(f"{place}/take", data={"how": "file", "since": "nothing"})
    assert refused.status_code == 422
    assert "a sound file of the take is needed" in refused.text


def test_after_a_take_of_one_note_the_next_is_taken(empty_client: TestClient) -> None:
    place = begun(empty_client)
    one = {"how": "typed", "unit": "Hz", "since": "nothing", "typed-low A": "475"}
    assert "high A" in empty_client.post(f"{place}/take", data=one).text
    for since in ("act", "nothing"):
        answer = empty_client.post(f"{place}/take", data=typed(since=since))
        assert answer.status_code == 200
        assert "octave narrow" in answer.text


def test_who_will_blow_it_is_kept(empty_client: TestClient) -> None:
    place = begun(empty_client)
    empty_client.post("/fit", data={"reed": "77", "chanter": "new one", "player": "Morag"})
    assert "Morag" in empty_client.get(place).text


def test_after_a_refused_form_one_comes_back_to_its_page(empty_client: TestClient) -> None:
    place = begun(empty_client)
    here = {"referer": f"http://127.0.0.1{place}?scale=harmonic"}
    refused = empty_client.post(f"{place}/take", data={"how": "file"}, headers=here)
    assert refused.status_code == 422
    assert f'name="back" value="{place}' in refused.text
    assert f'name="back" value="{place}/take' not in refused.text


def test_decimal_commas_are_read(empty_client: TestClient) -> None:
    place = begun(empty_client)
    fields = {name: value.replace(".", ",") for name, value in typed(since="nothing").items()}
    assert "475.2" in empty_client.post(f"{place}/take", data=fields).text


def test_the_second_take_shows_predicted_beside_measured(empty_client: TestClient) -> None:
    place = begun(empty_client)
    empty_client.post(f"{place}/take", data=typed(since="nothing"))
    second = typed(since="act") | {"typed-high A": "941", "typed-low A": "476.5"}
    page = empty_client.post(f"{place}/take", data=second).text
    assert "predicted and measured" in page
    assert "Was predicted" in page
    assert "1 mm deeper moves high A by" in page


def test_what_was_done_is_the_setting(app: Starlette, entry: SignIn) -> None:
    """A setting told outright is kept as told; tape too."""
    with signed_in(app, entry) as client:
        place = begun(client)
        told = {"since": "other", "seat": "-0,5", "tape-C": "1.5"}
        client.post(f"{place}/take", data=typed(**told))
    reed, chanter = (int(part) for part in place.split("/")[2:])
    with app.state.context.ledger.reading() as reader:
        setting = reader.rows(SettingRecord, {"reed_id": reed, "chanter_id": chanter})[-1]
        tapes = reader.rows(TapeRecord, {"setting_id": setting.id})
    assert setting.seat_mm == -0.5
    assert [(tape.hole, tape.covered_mm) for tape in tapes] == [("C", 1.5)]


def test_a_strip_stays_on_until_it_is_told_off(app: Starlette, entry: SignIn) -> None:
    """Whatever way the next take is told; 0 takes it off, and an emptied field is asked about."""
    with signed_in(app, entry) as client:
        place = begun(client)
        reed, chanter = (int(part) for part in place.split("/")[2:])

        def strips() -> dict[str, float]:
            with app.state.context.ledger.reading() as reader:
                setting = reader.rows(SettingRecord, {"reed_id": reed, "chanter_id": chanter})[-1]
                rows = reader.rows(TapeRecord, {"setting_id": setting.id})
            return {row.hole: row.covered_mm for row in rows}

        client.post(f"{place}/take", data=typed(since="other", seat="0", **{"tape-C": "1.5"}))
        for told in (
            {"since": "nothing"},
            {"since": "other", "seat": "0.5"},
            {"since": "other", "seat": "0.5", "tape-D": ""},
        ):
            assert client.post(f"{place}/take", data=typed(**told)).status_code == 200
            assert strips() == {"C": 1.5}
        client.post(f"{place}/take", data=typed(since="other", seat="0.5", **{"tape-D": "1"}))
        assert strips() == {"C": 1.5, "D": 1.0}
        asked = client.post(f"{place}/take", data=typed(since="other", **{"tape-C": ""}))
        assert asked.status_code == 422
        assert "a strip of 1.5 mm is there: 0 says that it is off" in asked.text
        client.post(f"{place}/take", data=typed(since="other", **{"tape-C": "0"}))
        assert strips() == {"D": 1.0}


@pytest.mark.parametrize(("seat", "nearest"), [("3.25", "3 mm"), ("-4,5", "-4 mm")])
def test_a_seat_is_told_within_its_bottom_and_its_top(
    empty_client: TestClient, seat: str, nearest: str
) -> None:
    place = begun(empty_client)
    assert "From −4, where it leaks, to 3, the bottom." in empty_client.get(place).text
    refused = empty_client.post(f"{place}/take", data=typed(since="other", seat=seat))
    assert refused.status_code == 422
    assert f"Nearest that works: {nearest}" in refused.text
    assert empty_client.post(f"{place}/take", data=typed(since="other", seat="3")).status_code == 200


def test_a_slip_is_asked_about_and_taken_by_a_second_button(empty_client: TestClient) -> None:
    place = begun(empty_client)
    slip = typed(since="nothing") | {"typed-low A": "935", "typed-high A": "475.2"}
    asked = empty_client.post(f"{place}/take", data=slip)
    assert asked.status_code == 422
    assert "Asked before it is written down." in asked.text
    assert "low A 935 Hz and high A 475.2 Hz was given" in asked.text
    assert "the two may be swapped" in asked.text
    assert 'value="as-typed"' in asked.text
    assert 'value="935"' in asked.text
    assert "--" not in asked.text.partition('role="alert"')[2].partition("</div>")[0]
    assert "A clean start" in empty_client.get(place).text
    taken = empty_client.post(f"{place}/take", data=slip | {"how": "as-typed"})
    assert taken.status_code == 200
    assert "In the newest take:" in taken.text
    assert "the two may be swapped" in taken.text


def test_readings_as_usual_are_not_asked_about(empty_client: TestClient) -> None:
    """Control: no second button, no remark."""
    page = empty_client.post(f"{begun(empty_client)}/take", data=typed(since="nothing")).text
    assert "as-typed" not in page
    assert "In the newest take:" not in page


def test_cents_without_a_pitch_name_the_field_of_the_page(empty_client: TestClient) -> None:
    place = begun(empty_client)
    cents = {"how": "typed", "unit": "cents", "since": "nothing", "typed-low A": "0", "typed-high A": "-3"}
    refused = empty_client.post(f"{place}/take", data=cents)
    assert refused.status_code == 422
    assert "as the Pitch under Aim" in refused.text
    assert "--reference" not in refused.text
    assert empty_client.post(f"{place}/take", data=cents | {"reference": "478"}).status_code == 200


def test_a_pinch_done_is_counted_for_life(app: Starlette, entry: SignIn) -> None:
    with signed_in(app, entry) as client:
        place = begun(client)
        client.post(f"{place}/take", data=typed(since="nothing"))
        page = client.post(f"{place}/take", data=typed(since="other", seat="0", pinched="on")).text
    assert "Pinched once" in page or "1 pinch" in page
    reed = int(place.split("/")[2])
    with app.state.context.ledger.reading() as reader:
        assert len(reader.rows(EaseRecord, {"reed_id": reed})) == 1
        act = reader.history(limit=1)[0]
    assert ", pinched" in act.said
    # The take and its pinch are one act: taken back, neither is left.
    with signed_in(app, entry) as client:
        client.post(f"/undo/{act.id}", data={"back": "/history"})
    with app.state.context.ledger.reading() as reader:
        assert reader.rows(EaseRecord, {"reed_id": reed}) == []
        assert len(reader.rows(TakeRecord, {"reed_id": reed})) == 1


def test_what_will_not_do_is_said_and_nothing_typed_is_lost(empty_client: TestClient) -> None:
    place = begun(empty_client)
    answer = empty_client.post(f"{place}/take", data=typed(since="nothing") | {"typed-E": "abc"})
    assert answer.status_code == 422
    assert "Not written down" in answer.text
    assert 'value="abc"' in answer.text
    assert 'value="475.2"' in answer.text
    assert "A clean start" in answer.text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"how": "typed"}, "low A and high A at least"),
        ({"how": "file"}, "a sound file of the take is needed"),
        ({"how": "recording", "recording": "../../etc/passwd"}, "not on this bench"),
        ({"how": "typed", "since": "later", "typed-low A": "476"}, "one of act, nothing"),
        ({"how": "typed", "scale": "mine", "typed-low A": "476"}, "scale"),
        ({"how": "typed", "typed-low A": "1e400"}, "a number is needed"),
        ({"how": "typed", "typed-low A": "47"}, "typed reading"),
    ],
)
def test_errors_name_what_was_given(empty_client: TestClient, fields: dict[str, str], said: str) -> None:
    place = begun(empty_client)
    answer = empty_client.post(f"{place}/take", data={"since": "nothing"} | fields)
    assert answer.status_code in (404, 422)
    assert said in answer.text


def test_a_file_gives_the_numbers_of_the_command(empty_app: Starlette, entry: SignIn, tmp_path: Path) -> None:
    path = tmp_path / "slow scale.ogg"
    path.write_bytes((files("canebench") / "demo" / DEMO_FILE).read_bytes())
    expected = measure_take(path).measurement
    with signed_in(empty_app, entry) as client:
        place = begun(client)
        with path.open("rb") as file:
            answer = client.post(
                f"{place}/take", data={"how": "file", "since": "nothing"}, files={"file": (path.name, file)}
            )
    assert answer.status_code == 200, answer.text
    with empty_app.state.context.ledger.reading() as reader:
        take = reader.rows(TakeRecord)[-1]
        kept = {row.note: row.hz for row in reader.rows(PitchRecord, {"take_id": take.id})}
    assert kept == {note.note: note.hz for note in expected.notes}
    assert take.origin == "slow scale.ogg"
    assert (empty_app.state.context.takes / f"{take.recording_sha256}.flac").is_file()


def test_a_file_that_is_no_sound_changes_nothing(empty_client: TestClient) -> None:
    place = begun(empty_client)
    before = empty_client.get("/history").text
    answer = empty_client.post(
        f"{place}/take", data={"how": "file"}, files={"file": ("notes.txt", b"not a sound")}
    )
    assert answer.status_code == 422
    assert "Not written down" in answer.text
    assert empty_client.get("/history").text == before


def test_a_take_is_undone(empty_client: TestClient) -> None:
    place = begun(empty_client)
    page = empty_client.post(f"{place}/take", data=typed(since="nothing")).text
    found = re.search(r'action="(/undo/\d+)"', page)
    assert found
    page = empty_client.post(found[1], data={"back": place}).text
    assert "undid" in page
    assert "A clean start" in page


def test_an_undo_never_leads_away(client: TestClient) -> None:
    for back in ("https://canebench.example/", "//canebench.example", "/\\canebench.example", "nowhere"):
        answer = client.post("/undo/1", data={"back": back}, follow_redirects=False)
        assert answer.headers.get("location", "/").startswith("/?") or answer.status_code == 422


def test_the_aim_stands_in_the_address(client: TestClient) -> None:
    plain = client.get("/fit/1/1").text
    fixed = client.get("/fit/1/1?reference=478&deeper=0.5").text
    assert "its own low A" in plain
    assert fixed != plain
    assert 'value="478"' in fixed
    assert client.get("/fit/1/1?deeper=99").status_code == 422
    assert client.get("/fit/1/1?scale=nowhere").status_code == 422


@pytest.mark.parametrize("pinches", ["nan", "1.7", "inf", "two"])
def test_pinches_that_are_no_whole_number_are_refused(client: TestClient, pinches: str) -> None:
    """Control: a whole number, with spaces about it, will do."""
    refused = client.get(f"/fit/1/1?pinches_left={pinches}")
    assert refused.status_code == 422
    assert "pinches left" in refused.text
    assert client.get("/fit/1/1?pinches_left=%201%20").status_code == 200


def test_no_such_fitting(client: TestClient) -> None:
    assert client.get("/fit/1/999").status_code == 404
    assert client.get("/fit/999/1").status_code == 404
