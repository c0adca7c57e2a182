"""Height, tilt and rest are what their definitions say, whatever the nine deviations."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.scales import published_scales
from canebench.fitting.balance import Balance, Deviation, balance_of, missing_posts

CENTS = st.floats(-300, 300)
SD = st.floats(0, 30)


@st.composite
def nine(draw: st.DrawFn) -> dict[str, Deviation]:
    scale = draw(st.sampled_from(list(published_scales().values())))
    return {
        note: Deviation(cents=draw(CENTS), sd_cents=draw(SD), interval_cents=scale.cents(note))
        for note in NOTES
    }


def moved(deviations: dict[str, Deviation], shift: float, slope: float = 0.0) -> dict[str, Deviation]:
    """Every note moved by `shift`, and by `slope` for each octave above low A."""
    return {
        note: Deviation(
            cents=d.cents + shift + slope * d.interval_cents / 1200,
            sd_cents=d.sd_cents,
            interval_cents=d.interval_cents,
        )
        for note, d in deviations.items()
    }


def laid(deviations: dict[str, Deviation], reference_sd_cents: float = 0.0) -> Balance:
    balance = balance_of(deviations, reference_sd_cents=reference_sd_cents)
    assert balance is not None
    return balance


@given(nine(), CENTS)
def test_a_common_offset_moves_only_the_height(deviations: dict[str, Deviation], shift: float) -> None:
    before, after = laid(deviations), laid(moved(deviations, shift))
    assert after.height_cents.value == pytest.approx(before.height_cents.value + shift, abs=1e-9)
    assert after.tilt_cents.value == pytest.approx(before.tilt_cents.value, abs=1e-9)
    for note in NOTES:
        assert after.rest_cents[note].value == pytest.approx(before.rest_cents[note].value, abs=1e-9)


@given(nine(), CENTS)
def test_a_slope_moves_no_rest(deviations: dict[str, Deviation], slope: float) -> None:
    before, after = laid(deviations), laid(moved(deviations, 0.0, slope))
    assert after.tilt_cents.value == pytest.approx(before.tilt_cents.value + slope, abs=1e-9)
    for note in NOTES:
        assert after.rest_cents[note].value == pytest.approx(before.rest_cents[note].value, abs=1e-9)


@given(nine(), CENTS)
def test_one_note_between_moves_its_own_rest_alone(deviations: dict[str, Deviation], shift: float) -> None:
    d = deviations["D"]
    after = laid(
        deviations | {"D": Deviation(cents=shift, sd_cents=d.sd_cents, interval_cents=d.interval_cents)}
    )
    before = laid(deviations)
    assert after.height_cents == before.height_cents
    assert after.tilt_cents == before.tilt_cents
    assert {n: r for n, r in after.rest_cents.items() if n != "D"} == {
        n: r for n, r in before.rest_cents.items() if n != "D"
    }
    assert after.rest_cents["D"].value - before.rest_cents["D"].value == pytest.approx(
        shift - d.cents, abs=1e-9
    )


@given(nine(), SD)
def test_both_as_lie_on_the_beam_and_the_reference_blurs_height_alone(
    deviations: dict[str, Deviation], reference_sd: float
) -> None:
    sharp, blurred = laid(deviations), laid(deviations, reference_sd)
    for note in (LOW_A, HIGH_A):
        assert (blurred.rest_cents[note].value, blurred.rest_cents[note].sd) == (0.0, 0.0)
    assert blurred.tilt_cents == sharp.tilt_cents
    assert blurred.rest_cents == sharp.rest_cents
    assert sharp.height_cents.sd is not None
    assert blurred.height_cents.sd == pytest.approx(math.hypot(sharp.height_cents.sd, reference_sd))


def test_uncertainty_against_a_worked_case() -> None:
    """Low A ± 3, high A ± 4, D half way between them ± 2: by hand 2.5, 5 and sqrt(4 + 25/4)."""
    deviations = {
        "low A": Deviation(cents=0, sd_cents=3, interval_cents=0),
        "D": Deviation(cents=0, sd_cents=2, interval_cents=600),
        "high A": Deviation(cents=0, sd_cents=4, interval_cents=1200),
    }
    balance = laid(deviations)
    assert balance.height_cents.sd == pytest.approx(2.5)
    assert balance.tilt_cents.sd == pytest.approx(5.0)
    assert balance.rest_cents["D"].sd == pytest.approx(math.sqrt(4 + 25 / 4))


def test_uncertainty_of_a_note_nearer_to_one_a() -> None:
    """A quarter of the way up, by hand: three quarters of low A's 4, a quarter of high A's 8."""
    deviations = {
        "low A": Deviation(cents=0, sd_cents=4, interval_cents=0),
        "C": Deviation(cents=0, sd_cents=0, interval_cents=300),
        "high A": Deviation(cents=0, sd_cents=8, interval_cents=1200),
    }
    assert laid(deviations).rest_cents["C"].sd == pytest.approx(math.sqrt(9 + 4))


@pytest.mark.parametrize("gone", [(LOW_A,), (HIGH_A,), (LOW_A, HIGH_A)])
def test_without_an_a_there_is_no_beam(gone: tuple[str, ...]) -> None:
    scale = published_scales()["harmonic"]
    deviations = {
        note: Deviation(cents=0, sd_cents=1, interval_cents=scale.cents(note))
        for note in NOTES
        if note not in gone
    }
    assert balance_of(deviations, reference_sd_cents=0) is None
    assert missing_posts(deviations) == gone


def test_what_was_not_played_has_no_rest() -> None:
    deviations = {
        LOW_A: Deviation(cents=0, sd_cents=1, interval_cents=0),
        HIGH_A: Deviation(cents=0, sd_cents=1, interval_cents=1200),
    }
    assert set(laid(deviations).rest_cents) == {LOW_A, HIGH_A}


def test_wrong_input_is_said() -> None:
    with pytest.raises(UnknownNameError, match="high A"):
        balance_of({"hi A": Deviation(cents=0, sd_cents=0, interval_cents=0)}, reference_sd_cents=0)
    with pytest.raises(InputError, match="finite number"):
        Deviation(cents=math.nan, sd_cents=0, interval_cents=0)
    for sd in (math.nan, -0.5):
        with pytest.raises(InputError, match="0 cents or more"):
            Deviation(cents=0, sd_cents=sd, interval_cents=0)


def test_control_a_beam_on_a_hertz_axis_is_caught() -> None:
    """The definition says log-frequency; a beam straight in hertz leaves a rest where there is none."""
    scale = published_scales()["harmonic"]
    straight = {
        note: Deviation(cents=scale.cents(note) / 60, sd_cents=0, interval_cents=scale.cents(note))
        for note in NOTES
    }
    in_hertz = {
        note: Deviation(cents=d.cents, sd_cents=0, interval_cents=1200 * (scale.ratios[note] - 1))
        for note, d in straight.items()
    }
    assert laid(straight).rest_cents["E"].value == pytest.approx(0, abs=1e-9)
    assert abs(laid(in_hertz).rest_cents["E"].value) > 1
