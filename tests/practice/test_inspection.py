"""What is seen of a reed, in words. Common practice, no source."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.errors import UnknownNameError
from canebench.reeds.inspection import MARKS, marks_in, with_marks


def test_marks_stand_first_in_the_order_of_looking_and_the_rest_follows() -> None:
    assert with_marks(["gap", "chip"], "pale cane") == "chip, gap; pale cane"
    assert with_marks([], " pale cane ") == "pale cane"
    assert with_marks(["chip"], "") == "chip"
    assert with_marks([], "") is None
    with pytest.raises(UnknownNameError, match="chip"):
        with_marks(["chipp"], "")


@pytest.mark.parametrize(
    ("remarks", "marks", "rest"),
    [
        (None, (), ""),
        ("chip", ("chip",), ""),
        ("gap, chip; pale; dry", ("chip", "gap"), "pale; dry"),
        ("chip in the lower blade", (), "chip in the lower blade"),
        ("chip, and dry; pale", (), "chip, and dry; pale"),
    ],
)
def test_a_remark_that_only_begins_like_a_mark_is_none(
    remarks: str | None, marks: tuple[str, ...], rest: str
) -> None:
    assert marks_in(remarks) == (marks, rest)


@given(
    st.sets(st.sampled_from(MARKS)), st.text(alphabet="abc ;,", max_size=12).filter(lambda t: "," not in t)
)
def test_what_is_written_is_read_again(marks: set[str], rest: str) -> None:
    written = with_marks(marks, rest)
    found, left = marks_in(written)
    assert with_marks(found, left) == written
    assert set(found) == marks
    assert left == rest.strip() or left == rest.strip().lstrip("; ")
