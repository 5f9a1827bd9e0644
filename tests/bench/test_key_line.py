"""The keys below a screen: none is parted from its words."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from workbench.bench.bases.overlay import BETWEEN, key_rows

WORDS = st.text("abc +*↑", min_size=1, max_size=20).map(str.strip).filter(bool)
PARTS = st.lists(WORDS, min_size=1)


@given(PARTS, st.integers(20, 120))
def test_every_key_stands_whole_on_one_row_and_in_order(parts: list[str], width: int) -> None:
    rows = key_rows(BETWEEN.join(parts), width)
    assert [part for row in rows for part in row.split(BETWEEN)] == parts
    assert all(len(row) <= width for row in rows)


@given(PARTS, st.integers(20, 120))
def test_no_row_is_begun_while_the_one_above_has_room(parts: list[str], width: int) -> None:
    rows = key_rows(BETWEEN.join(parts), width)
    for above, below in pairwise(rows):
        assert len(above + BETWEEN + below.split(BETWEEN)[0]) > width


def test_a_key_wider_than_the_screen_has_a_row_of_its_own() -> None:
    assert key_rows("a · bbbbbbbbbb · c", 5) == ["a", "bbbbbbbbbb", "c"]
