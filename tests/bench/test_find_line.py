"""The line that finds: what a hand types stays, what a cable types is taken out again."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from workbench.bench.bases.bursts import LONGEST_FIND, FindLine

SLOW, FAST = 0.2, 0.001


def typed(find: FindLine, text: str, gap: float, start: float = 0.0) -> float:
    """Type text at a pace; return the time of its last key."""
    time = start
    for char in text:
        time += gap
        find.type(char, time)
    return time


@given(
    st.text(alphabet="abc 12", max_size=12),
    st.from_regex(r"[0-9]{1,2}\.[0-9]{2,4}", fullmatch=True),
)
def test_a_burst_leaves_the_line_as_it_was(before: str, reading: str) -> None:
    """Whatever was typed by hand before it; the Enter is the burst's own, not an opening."""
    find = FindLine()
    time = typed(find, before, SLOW)
    kept = find.text
    time = typed(find, reading, FAST, time + SLOW)
    found = find.enter(time + FAST)
    assert (found.kind, found.reading) == ("burst", reading)
    assert find.text == kept
    assert find.enter(time + 2 * FAST).kind == "slip"
    assert find.enter(time + SLOW).kind == "purpose"


def test_digits_by_hand_are_looked_for() -> None:
    """A serial can be typed: its Enter opens."""
    find = FindLine()
    time = typed(find, "66014", SLOW)
    assert find.enter(time + SLOW).kind == "purpose"
    assert find.text == "66014"


def test_an_enter_hard_on_letters_does_nothing() -> None:
    """It was not pressed on purpose."""
    find = FindLine()
    time = typed(find, "heron", FAST)
    assert find.enter(time + FAST).kind == "hasty"
    assert find.text == "heron"


def test_the_line_has_a_length_and_no_blank_before_it() -> None:
    """A key held down fills no screen; rubbing out and clearing leave nothing."""
    find = FindLine()
    typed(find, "  a" + "b" * 200, SLOW)
    assert len(find.text) == LONGEST_FIND
    assert find.text.startswith("ab")
    find.rub_out()
    assert len(find.text) == LONGEST_FIND - 1
    find.clear()
    find.rub_out()
    assert find.text == ""
