"""Lengths as typed: the grammar, its edges, and the placing of digits without a point."""

from __future__ import annotations

import contextlib
import re
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from workbench.errors import InputError
from workbench.measure.display import length_text
from workbench.measure.lengths import kept_as, parse_length, parse_turn, understand
from workbench.measure.units import SPELLINGS, Unit

DEPTH = (2.0 * 25.4, 3.0 * 25.4)
TAIL = (0.4 * 25.4, 1.6 * 25.4)

IN_MM = {
    "inch": Fraction("25.4"),
    "thou": Fraction("0.0254"),
    "millimeter": Fraction(1),
    "centimeter": Fraction(10),
    "micrometer": Fraction("0.001"),
}
"""Exact by definition: 1 in = 25.4 mm, 1 thou = 0.001 in."""


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("2.4505", "in", Fraction("2.4505") * Fraction("25.4")),
        (".728", "in", Fraction("0.728") * Fraction("25.4")),
        ("62.23mm", "in", Fraction("62.23")),
        ("62.23", "mm", Fraction("62.23")),
        ("2,4505", "in", Fraction("2.4505") * Fraction("25.4")),
        ("2 7/16", "in", Fraction("2.4375") * Fraction("25.4")),
        ("2-7/16", "in", Fraction("2.4375") * Fraction("25.4")),
        ('2 7/16"', "mm", Fraction("2.4375") * Fraction("25.4")),
        ("7/16", "in", Fraction("0.4375") * Fraction("25.4")),
        ("728 thou", "in", Fraction("18.4912")),
        ("728 thou", "mm", Fraction("18.4912")),
        ('2.45"', "mm", Fraction("62.23")),
        ("2.45''", "mm", Fraction("62.23")),
        ("2.45 in.", "mm", Fraction("62.23")),
        ("2.45 INCHES", "mm", Fraction("62.23")),
        ("+.005", "in", Fraction("0.127")),
        ("-0.1 mm", "in", Fraction("-0.1")),
        ("−0.1 mm", "in", Fraction("-0.1")),
        ("2½", "in", Fraction("63.5")),
        ("½ in", "mm", Fraction("12.7")),
        ("6.223 cm", "in", Fraction("62.23")),
        ("12.7 µm", "in", Fraction("0.0127")),
        ("  2.45  ", "in", Fraction("62.23")),
        ("2.", "in", Fraction("50.8")),
        ("0", "in", Fraction(0)),
    ],
)
def test_what_hands_and_calipers_write(text: str, unit: Unit, mm: Fraction) -> None:
    """Each form means its exact value, and what was typed is kept."""
    length = parse_length(text, unit)
    assert length.mm == float(mm)
    assert length.text == text


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        ".",
        ",",
        "+",
        "-",
        "in",
        "mm",
        "2 4505",
        "24 50",
        "2 .5",
        "2..5",
        "2.4,5",
        "2,450,5",
        "1 234.5",
        "1'234",
        "1e3",
        "1_000",
        "0x10",
        "nan",
        "inf",
        "١٢",
        "2.45 mil",
        "2.45 m",
        "2.45 km",
        "2.45 in mm",
        "in 2.45",
        "2.45 x",
        "5 ft 2 in",
        "7/0",
        "7/2000",
        "2 16/7",
        "2 7/16/2",
        "1/2.5",
        "2.5 1/2",
        "--1",
        "+-1",
        "2.45-",
        "9**9",
        "2.45\x00",
        "2.45\n6",
        "£2",
        "1" * 41,
        "9999999999 in",
        "2.45 incheſ",
        "2.45 \u0130n",
    ],
)
def test_what_is_no_length_is_refused_whole(text: str) -> None:
    """Nothing is dropped to make sense of it; the error names field, value and what would do."""
    with pytest.raises(InputError) as error:
        parse_length(text, "in", "depth")
    assert error.value.field in ("depth", "unit")
    assert error.value.accepted


def test_the_form_of_what_was_typed_is_told() -> None:
    """Sign, missing point, named unit and the bench unit nearest to it."""
    assert parse_length("+.005", "in").signed
    assert not parse_length(".005", "in").signed
    assert parse_length("2450", "in").pointless
    assert not parse_length("2.450", "in").pointless
    assert not parse_length("2 7/16", "in").pointless
    assert parse_length("62.23mm", "in").named
    assert parse_length("62.23mm", "in").unit == "mm"
    assert parse_length("728 thou", "mm").unit == "in"


def reread(text: str, unit: Unit) -> Fraction:
    """Read an accepted text again by another way: every character must have its part."""
    rest = text.strip().replace("½", " 1/2").replace("¾", " 3/4").strip()
    name = ""
    for spelling in sorted(SPELLINGS, key=len, reverse=True):
        if rest.lower().endswith(spelling):
            name, rest = spelling, rest[: len(rest) - len(spelling)].strip()
            break
    factor = IN_MM[SPELLINGS[name or unit]]
    sign = -1 if rest[:1] in ("-", "−") else 1
    rest = rest[1:].strip() if rest[:1] in ("-", "−", "+") else rest
    total = Fraction(0)
    for part in re.split(r"\s*-\s*|\s+", re.sub(r"\s*/\s*", "/", rest)):
        top, _, under = part.partition("/")
        total += Fraction(Decimal(top.replace(",", "."))) / Fraction(Decimal(under or "1"))
    return sign * total * factor


@given(st.text("0123456789.,/+-− \"'inmthouc½¾", max_size=14), st.sampled_from(["in", "mm"]))
@example("2 7/16 in", "mm")
@example("2½", "in")
@example("728thou", "in")
@example("1 -1/2", "in")
def test_no_character_is_dropped(text: str, unit: Unit) -> None:
    """Whatever is accepted re-reads, by another reader, to the very same value."""
    try:
        length = parse_length(text, unit)
    except InputError:
        return
    assert length.mm == float(reread(text, unit))


NUMBERS = st.one_of(
    st.decimals(0, 999, places=4).map(lambda d: f"{d:f}"),
    st.decimals(0, 999, places=3).map(lambda d: f"{d:f}".replace(".", ",")),
    st.tuples(st.integers(0, 99), st.integers(0, 15)).map(lambda p: f"{p[0]} {p[1]}/16"),
    st.integers(0, 99999).map(str),
)


@given(
    st.sampled_from(["", "+", "-", "−"]), NUMBERS, st.sampled_from(["", " "]),
    st.sampled_from(["", *SPELLINGS]), st.sampled_from(["in", "mm"]),
)  # fmt: skip
def test_every_well_formed_length_is_taken(
    sign: str, number: str, gap: str, spelling: str, unit: Unit
) -> None:
    """Sign, number and unit in every combination mean what another reader makes of them."""
    text = f"{sign}{number}{gap}{spelling}"
    assert parse_length(text, unit).mm == float(reread(text, unit))


@given(st.text(max_size=60), st.sampled_from(["in", "mm"]))
def test_random_text_only_ever_brings_our_own_error(text: str, unit: Unit) -> None:
    """No text at all makes the parser fail in another way."""
    for read in (
        lambda: parse_length(text, unit),
        lambda: parse_turn(text),
        lambda: understand(text, unit, DEPTH),
    ):
        with contextlib.suppress(InputError):
            read()


@given(st.integers(0, 200_000), st.sampled_from(["in", "mm"]))
def test_what_is_shown_reads_back(steps: int, unit: Unit) -> None:
    """A length on the caliper's grid is shown and read back as the same length."""
    step = Decimal("0.0005") if unit == "in" else Decimal("0.01")
    mm = float(step * steps * (Decimal("25.4") if unit == "in" else 1))
    assert parse_length(length_text(mm, unit), unit).mm == mm


@pytest.mark.parametrize(
    ("text", "turns"),
    [("1/4", 0.25), ("+1/4", 0.25), ("-0.125", -0.125), ("1 1/2", 1.5), ("+1-1/8", 1.125),
     (".5", 0.5), ("0,75", 0.75), ("¾", 0.75), ("-100", -100.0), ("0", 0.0),
     ("7.944956717717184e-07", 7.944956717717184e-07), ("-2e-10", -2e-10)],
)  # fmt: skip
def test_turns_as_written(text: str, turns: float) -> None:
    """Fractions, decimals and signs of a number of turns; next to nothing as programs write it."""
    assert parse_turn(text) == turns


@pytest.mark.parametrize("text", ["", "quarter", "1/4 in", "100.5", "1/0", "1e2", "1 3"])
def test_turns_that_are_none(text: str) -> None:
    """Anything else names its field."""
    with pytest.raises(InputError) as error:
        parse_turn(text, "front")
    assert error.value.field == "front"


@pytest.mark.parametrize(
    ("text", "unit", "window", "inch"),
    [
        ("2450", "in", DEPTH, "2.450"),
        ("24500", "in", DEPTH, "2.4500"),
        ("24505", "in", DEPTH, "2.4505"),
        ("2.4505", "in", DEPTH, "2.4505"),
        ("2,4505", "in", DEPTH, "2.4505"),
        ("2 7/16", "in", DEPTH, "2.4375"),
        ("728", "in", TAIL, "0.728"),
        (".728", "in", TAIL, "0.728"),
        ("0728", "in", TAIL, "0.728"),
        ("728 thou", "in", TAIL, "0.728"),
        ("728 thou", "mm", TAIL, "0.728"),
        ("2450 in", "mm", DEPTH, "2.450"),
    ],
)
def test_digits_are_placed_where_they_are_plausible(
    text: str, unit: Unit, window: tuple[float, float], inch: str
) -> None:
    """One plausible placing is taken without a question."""
    entry = understand(text, unit, window)
    assert entry.is_clear
    assert entry.placings[0].mm == float(Fraction(inch) * Fraction("25.4"))
    assert entry.placings[0].unit == "in"
    assert parse_length(entry.placings[0].number, "in").mm == entry.placings[0].mm


@pytest.mark.parametrize(("text", "mm"), [("6223", 62.23), ("62230", 62.23), ("62.23", 62.23)])
def test_digits_are_placed_in_mm_too(text: str, mm: float) -> None:
    """In mm the same digits mean mm."""
    entry = understand(text, "mm", DEPTH)
    assert entry.is_clear
    assert (entry.placings[0].mm, entry.placings[0].unit) == (mm, "mm")


@pytest.mark.parametrize(
    ("text", "unit", "meant"), [("62.23", "in", "mm"), ("6223", "in", "mm"), ("2.45", "mm", "in")]
)
def test_a_value_usual_only_in_the_other_unit_is_asked_about(
    text: str, unit: Unit, meant: Unit
) -> None:
    """It is offered in the other unit, never taken silently."""
    entry = understand(text, unit, DEPTH)
    assert not entry.is_clear
    assert [p.unit for p in entry.placings] == [meant]
    assert entry.question.startswith(f"{text}: {unit} or {meant}? ")


def test_two_plausible_placings_are_both_offered() -> None:
    """Where the point can stand in two places the bench asks which."""
    entry = understand("55", "in", (0.5 * 25.4, 6.0 * 25.4))
    assert not entry.is_clear
    assert [p.number for p in entry.placings] == ["5.5", "0.55"]
    assert "which" in entry.question


def test_an_unusual_value_is_kept_as_typed_and_asked_about() -> None:
    """Out of range in both units: the range is named and the value is still offered."""
    entry = understand("9.9", "in", DEPTH)
    assert "2 to 3 in" in entry.question
    assert entry.placings[0].mm == pytest.approx(9.9 * 25.4)
    rarer = understand("99 thou", "in", DEPTH)
    assert (rarer.placings[0].number, rarer.placings[0].unit) == ("0.099", "in")


def test_a_reading_is_never_negative() -> None:
    """A minus sign in front of a reading is an error, a plus is not."""
    with pytest.raises(InputError):
        understand("-2.45", "in", DEPTH)
    assert understand("+2.45", "in", DEPTH).is_clear


@given(st.text("0123456789", min_size=1, max_size=7), st.sampled_from(["in", "mm"]))
def test_placing_only_ever_moves_the_point(digits: str, unit: Unit) -> None:
    """Every understanding offered has the digits that were typed, in their order."""
    for placing in understand(digits, unit, DEPTH).placings:
        assert placing.number.replace(".", "").lstrip("0") == digits.lstrip("0")
        typed = Fraction(placing.number) * IN_MM["inch" if placing.unit == "in" else "millimeter"]
        assert placing.mm == float(typed)


@given(
    st.sampled_from(["{}", "{} in", "{}mm", "+{}", " {} ", "{} thou", "{}/16", "2 {}/64", "{} cm"]),
    st.text("0123456789", min_size=1, max_size=4),
    st.sampled_from(["", ".", ","]),
    st.text("0123456789", max_size=4),
    st.sampled_from(["in", "mm"]),
    st.sampled_from([DEPTH, TAIL, (0.0, 300.0)]),
)
def test_whatever_is_understood_can_have_been_kept(
    form: str, whole: str, point: str, rest: str, unit: Unit, window: tuple[float, float]
) -> None:
    """What an entry is taken for, in whichever unit, is one of what its text can be kept as."""
    text = form.format(whole + point + rest)
    with contextlib.suppress(InputError):
        for placing in understand(text, unit, window).placings:
            assert placing.mm in kept_as(text, placing.unit)


def test_what_a_text_cannot_have_been_kept_as_is_told() -> None:
    """Bare digits are themselves or have a point placed; a unit written out is that unit."""
    placed = [float(Fraction(2450, 10**n) * Fraction("25.4")) for n in range(5)]
    assert kept_as("2450", "in") == tuple(placed)
    assert kept_as("2.45", "mm") == (2.45,)
    for text, unit in (("2.45 mm", "in"), ("728 thou", "mm"), ("two", "in")):
        with pytest.raises(InputError):
            kept_as(text, unit)  # type: ignore[arg-type]
