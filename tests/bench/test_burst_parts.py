"""What tells a cable from a hand, piece by piece and without a screen."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from workbench.bench.bases.bursts import (
    GAUGE_GAP_S,
    PLUS_WAIT_S,
    SHORTEST_BURST,
    Heard,
    Pace,
    SignKey,
)

GAPS = st.lists(st.floats(0.001, 0.9 * GAUGE_GAP_S), min_size=SHORTEST_BURST, max_size=12)


def paced(gaps: list[float]) -> tuple[Pace, float]:
    """Return keys so far apart, the last gap before Enter, and when Enter came."""
    pace, time = Pace(), 100.0
    for gap in gaps:
        pace.add(time)
        time += gap
    return pace, time


@given(GAPS)
def test_keys_faster_than_any_hand_are_a_burst_and_slow_ones_are_none(gaps: list[float]) -> None:
    pace, enter_s = paced(gaps)
    assert pace.is_burst(enter_s)
    slow, enter_s = paced([gap + GAUGE_GAP_S for gap in gaps])
    assert not slow.is_burst(enter_s)
    pace.clear()
    assert not pace.is_burst(enter_s)


@given(GAPS.map(lambda gaps: gaps[: SHORTEST_BURST - 1]))
def test_too_few_keys_are_never_a_burst(gaps: list[float]) -> None:
    pace, enter_s = paced(gaps)
    assert not pace.is_burst(enter_s)


def test_what_was_heard_before_a_pause_is_another_number() -> None:
    heard = Heard()
    for i, char in enumerate("2.45"):
        assert heard.belongs(char, i * 0.01)
        heard.add(char, i * 0.01)
    heard.add("7", 0.03 + 2 * PLUS_WAIT_S)
    assert heard.text == "7"
    assert heard.complete() == ""


def test_a_sign_is_of_a_number_only_on_the_heels_of_its_digits() -> None:
    heard = Heard()
    assert not heard.belongs("-", 1.0)
    heard.add("2", 1.0)
    assert heard.belongs("-", 1.0 + PLUS_WAIT_S / 2)
    assert not heard.belongs("-", 1.0 + 2 * PLUS_WAIT_S)
    assert not heard.belongs("", 1.0)


class Timers:
    """A pump whose timers go off when told."""

    def __init__(self) -> None:
        self.due: list[Callable[[], None]] = []

    def set_timer(self, _: float, act: Callable[[], None]) -> Timers:
        self.due.append(act)
        return self

    def stop(self) -> None:
        self.due.clear()


def test_a_sign_with_digits_on_its_heels_begins_a_number_and_alone_it_acts() -> None:
    timers: Any = Timers()
    begun: list[tuple[str, float]] = []
    alone: list[tuple[str, float]] = []
    key = SignKey(timers, lambda *sign: begun.append(sign), lambda *sign: alone.append(sign))
    key.press("+", 1.0)
    key.settle("2")
    assert (begun, alone, timers.due) == ([("+", 1.0)], [], [])
    key.press("-", 2.0)
    timers.due[0]()
    key.press("+", 3.0)
    key.settle("q")
    key.settle("2")
    assert (begun, alone) == ([("+", 1.0)], [("-", 2.0), ("+", 3.0)])
