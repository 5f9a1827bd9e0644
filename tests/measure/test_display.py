"""Numbers for people: published rounding rules, ties, limits, parts of a turn."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workbench.measure.display import (
    MINUS,
    change_between,
    change_text,
    convert,
    degrees_text,
    dial_text,
    fine_text,
    length_text,
    round_to_step,
    turn_text,
    turns_text,
)
from workbench.measure.units import MM_PER, Unit

STEP = {"in": Decimal("0.0005"), "mm": Decimal("0.01")}
UNITS = st.sampled_from(["in", "mm"])


@pytest.mark.parametrize(
    ("numeral", "step", "rounded"),
    [
        ("6.9749515", "0.01", "6.97"),
        ("6.9749515", "0.0001", "6.9750"),
        ("6.9749515", "0.000001", "6.974952"),
        ("6.9749505", "0.000001", "6.974950"),
        ("6.9749515", "0.1", "7.0"),
    ],
)
def test_rounding_as_published(numeral: str, step: str, rounded: str) -> None:
    """NIST SP 811 (2008), B.7.1 (sp811-rounding): halves go to the even digit."""
    assert str(round_to_step(Decimal(numeral), Decimal(step))) == rounded


def test_the_rule_of_reason() -> None:
    """NIST LC 1137 (nist-lc1137): 36 in is 91 cm and 40.1 in is 101.9 cm."""
    for inch, exact, step, rounded in (
        ("36", "91.44", "1", "91"),
        ("40.1", "101.854", ".1", "101.9"),
    ):
        cm = Decimal(inch) * Decimal("2.54")
        assert cm == Decimal(exact)
        assert str(round_to_step(cm, Decimal(step))) == rounded
        assert convert(float(inch) * 25.4, "mm") / 10 == cm


@pytest.mark.parametrize(
    ("mm", "unit", "text"),
    [
        (62.23, "in", "2.4500"),
        (62.23, "mm", "62.23"),
        (2.4505 * 25.4, "in", "2.4505"),
        (0.0, "in", "0.0000"),
        (-0.001, "mm", "0.00"),
        (-0.1, "mm", f"{MINUS}0.10"),
        (25.4, "mm", "25.40"),
    ],
)
def test_lengths_at_the_calipers_resolution(mm: float, unit: Unit, text: str) -> None:
    """0.0005 in and 0.01 mm; a value that rounds to naught has no sign."""
    assert length_text(mm, unit) == text


@given(st.integers(0, 20_000), UNITS)
def test_ties_go_to_the_even_step_whatever_binary_makes_of_them(half: int, unit: Unit) -> None:
    """Half-way between two steps, as the mean of two readings may be, the even one wins."""
    step = STEP[unit]
    tie = step * (2 * half + 1) / 2
    even = half if half % 2 == 0 else half + 1
    mm = float(tie) * MM_PER[unit]
    assert Decimal(length_text(mm, unit)) == step * even


@given(st.floats(0, 1000), UNITS)
def test_rounding_moves_by_half_a_step_at_most(mm: float, unit: Unit) -> None:
    """The shown length is the nearest on the grid."""
    shown = Fraction(length_text(mm, unit))
    true = Fraction(mm) / Fraction("25.4" if unit == "in" else "1")
    assert abs(shown - true) <= Fraction(STEP[unit]) / 2 + Fraction("1e-10")


@pytest.mark.parametrize(
    ("mm", "text"),
    [(0.127, "+0.0050"), (-0.127, f"{MINUS}0.0050"), (0.001, "0.0000"), (0, "0.0000")],
)
def test_changes_show_their_sign(mm: float, text: str) -> None:
    """Always a sign, but none on naught."""
    assert change_text(mm, "in") == text


def test_small_lengths_have_a_digit_more() -> None:
    """An uncertainty is shown ten times finer than a reading's last digit, about."""
    assert fine_text(0.0381, "in") == "0.0015"
    assert fine_text(0.0381, "mm") == "0.038"


@pytest.mark.parametrize(
    ("turns", "text"),
    [(0.25, "1/4"), (-0.25, "1/4"), (1.25, "1 1/4"), (2.0, "2"), (0.375, "3/8"), (0.0625, "1/16"),
     (1 / 64, "1/64"), (0.37, "0.37"), (0.0, "0"), (0.1, "0.1"), (10.5, "10 1/2"),
     (0.0003, "0.0003"), (-4e-8, "0.00000004")],
)  # fmt: skip
def test_turns_as_a_hand_counts_them(turns: float, text: str) -> None:
    """Parts of a turn down to a sixty-fourth, else three decimals."""
    assert turn_text(turns) == text


@pytest.mark.parametrize(
    ("turns", "text"),
    [(0.375, "3/8 turn"), (-1.0, "1 turn"), (1.25, "1 1/4 turns"), (-2.0, "2 turns"),
     (0.0, "0 turns"), (2.625, "2 5/8 turns")],
)  # fmt: skip
def test_more_than_one_is_turns(turns: float, text: str) -> None:
    """The word goes with the number."""
    assert turns_text(turns) == text


@pytest.mark.parametrize(
    ("turns", "degrees", "hours"),
    [(0.375, "135°", "4.5 h"), (-1.25, "450°", "15 h"), (0.37, "133°", "4.4 h")],
)
def test_turns_as_a_ring_and_a_clock_show_them(turns: float, degrees: str, hours: str) -> None:
    """Whole degrees; a clock's hour is a twelfth of a turn; nothing beside plain turns."""
    shown = [dial_text(turns, dial) for dial in ("turns", "degrees", "hours")]
    assert shown == ["", degrees, hours]


@pytest.mark.parametrize(
    ("angle", "text"), [(1.234, "+1.23°"), (-0.5, f"{MINUS}0.50°"), (0.001, "0.00°"), (0, "0.00°")]
)
def test_angles_show_their_sign(angle: float, text: str) -> None:
    """Degrees with a sign, but none on naught."""
    assert degrees_text(angle) == text


@given(st.floats(0.0, 300.0), st.floats(0.0, 300.0), st.sampled_from(["in", "mm"]), st.booleans())
def test_a_change_shown_is_the_difference_of_what_is_shown(
    first_mm: float, second_mm: float, unit: Unit, is_fine: bool
) -> None:
    """To the last digit of the two lengths, in either unit and at a finer step as well."""
    step = {"in": "0.0001", "mm": "0.001"}[unit] if is_fine else None
    first, second = (Decimal(length_text(mm, unit, step)) for mm in (first_mm, second_mm))
    change = change_between(first_mm, second_mm, unit, step).replace("−", "-")
    assert Decimal(change) == second - first
