"""The scales we offer are the published ones, ratio for ratio."""

from __future__ import annotations

from fractions import Fraction

import pytest

from canebench.base.notes import LOW_A, LOW_G, NOTES
from canebench.base.scales import published_scales, scale_named
from canebench.base.units import cents_to_hz, hz_to_cents
from support.datasets import DataSet, published
from support.pitch import assert_within_cents

_TABLES = ("macpherson_1998", "lenihan_macneill_1954", "chatto_1991", "letter_1929")
_INTERVALS = published("intervals")


def _ratios(table: DataSet) -> dict[str, Fraction]:
    """Ratios to low A as printed, or multiplied up from printed steps."""
    if "ratio" in table.rows[0]:
        return {row["note"]: Fraction(row["ratio"]) for row in table.rows}
    place = {LOW_G: Fraction(1)}
    for row in table.rows:
        place[row["to"]] = place[row["from"]] * Fraction(row["step"])
    return {note: ratio / place[LOW_A] for note, ratio in place.items()}


@pytest.mark.parametrize("name", _TABLES)
def test_each_scale_is_the_published_one(name: str) -> None:
    """All nine ratios, in scale order, to the last digit of double precision."""
    table = published(name)
    ratios = _ratios(table)
    assert tuple(ratios) == NOTES
    ours = scale_named(str(table.source["scale"]))
    for note, ratio in ratios.items():
        assert ours.ratios[note] == pytest.approx(float(ratio), rel=table.number("relative_uncertainty"))


def test_no_scale_is_without_a_published_table() -> None:
    assert {str(published(name).source["scale"]) for name in _TABLES} == set(published_scales())


@pytest.mark.parametrize("name", _TABLES)
def test_no_published_table_fits_another_scale(name: str) -> None:
    """Control: each table differs from every other scale by at least the smallest gap, 81/80."""
    table = published(name)
    ratios = _ratios(table)
    for other, scale in published_scales().items():
        if other != table.source["scale"]:
            gaps = [abs(hz_to_cents(scale.ratios[note], float(ratio))) for note, ratio in ratios.items()]
            assert max(gaps) > 21


@pytest.mark.parametrize("row", _INTERVALS.rows, ids=[row["ratio"] for row in _INTERVALS.rows])
def test_the_table_of_intervals(row: dict[str, str]) -> None:
    """Cents of each ratio and its pitch over low A = 480 Hz, within the rounding of the second decimal."""
    ratio, low_a_hz = float(Fraction(row["ratio"])), _INTERVALS.number("low_a_hz")
    cents, gate = float(row["cents"]), _INTERVALS.number("cents_uncertainty")
    assert hz_to_cents(ratio, 1.0) == pytest.approx(cents, abs=1.001 * gate)
    rounding = 1731.24 * _INTERVALS.number("hz_uncertainty") / float(row["hz"])
    assert_within_cents(cents_to_hz(cents, low_a_hz), float(row["hz"]), cents=gate + rounding)
    # Control: a twentieth of a cent aside it fits neither.
    assert hz_to_cents(ratio, 1.0) != pytest.approx(cents + 0.05, abs=gate)
    with pytest.raises(AssertionError, match="allowed"):
        assert_within_cents(cents_to_hz(cents + 0.05, low_a_hz), float(row["hz"]), cents=gate + rounding)


def test_every_ratio_of_ours_is_in_the_table_of_intervals() -> None:
    """`Scale.cents` of each note of each scale is the table's figure for that ratio."""
    table = {float(Fraction(row["ratio"])): float(row["cents"]) for row in _INTERVALS.rows} | {1.0: 0.0}
    for scale in published_scales().values():
        for note in NOTES:
            expected = table[scale.ratios[note]]
            assert scale.cents(note) == pytest.approx(
                expected, abs=1.001 * _INTERVALS.number("cents_uncertainty")
            )
