"""The register of calipers, the one in hand, and whether its checks let it be trusted."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from tests.shop import NOON, Clock, empty_shop
from workbench.errors import InputError
from workbench.measure.lengths import Length
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.roster import calipers
from workbench.work.trust.reading_tools import held_caliper, measured

INCH = {"name": "Caliper A", "unit": "in", "resolution": "0.0005"}


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def shop(tmp_path: Path, clock: Clock) -> Iterator[Shop]:
    with empty_shop(tmp_path, clock) as opened:
        yield opened


def added(shop: Shop, **more: str) -> rows.Caliper:
    return shop.book.caliper(calipers.add_caliper(shop, INCH | more))


def block(text: str = "1.0") -> Length:
    return calipers.block_size(text, "in")


def test_a_caliper_is_kept_as_typed_with_din_862_by_default(shop: Shop) -> None:
    """Resolution in mm; the permissible error follows DIN 862's table by length."""
    row = added(shop)
    assert row.resolution_mm == pytest.approx(0.0127)
    assert (row.unit, row.din862_scale) == ("in", "digital")
    assert measured(row).mpe_at(25.4) == 0.020
    assert measured(row).mpe_at(180.0) == row.mpe_mm == 0.030


@pytest.mark.parametrize(("unit", "step"), [("in", 0.0127), ("mm", 0.01)])
def test_a_blank_resolution_is_the_usual_one_of_its_unit(
    shop: Shop, unit: str, step: float
) -> None:
    """0.0005 in or 0.01 mm."""
    assert added(shop, unit=unit, resolution=" ").resolution_mm == pytest.approx(step)


def test_a_coarse_scale_takes_the_coarse_table(shop: Shop) -> None:
    """A step of 0.05 mm is DIN 862's coarse scale."""
    row = added(shop, unit="mm", resolution="0,05")
    assert measured(row).mpe_at(25.0) == 0.050


def test_a_typed_error_and_heights_hold(shop: Shop) -> None:
    """What was typed stands at every length; heights come back in mm."""
    row = added(shop, mpe=".0015", jaw_height="16 mm", reference_line=".15")
    assert measured(row).mpe_at(25.4) == measured(row).mpe_at(250.0)
    assert row.mpe_mm == pytest.approx(0.0381)
    assert row.din862_scale is None
    assert row.jaw_height_mm == 16.0
    assert row.reference_height_mm == pytest.approx(3.81)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"name": "  "}, "name"), ({"name": "x" * 200}, "name"), ({"name": "a\0b"}, "name"),
        ({"unit": "cm"}, "unit"), ({"unit": "mm"}, "resolution"),
        ({"resolution": "0"}, "resolution"), ({"resolution": "2"}, "resolution"),
        ({"resolution": "fine"}, "resolution"), ({"mpe": "0"}, "mpe"), ({"mpe": "-0.001"}, "mpe"),
        ({"mpe": "1"}, "mpe"), ({"jaw_height": "9"}, "jaw height"),
        ({"reference_line": "[b]"}, "reference line"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_name(shop: Shop, fields: dict[str, str], field: str) -> None:
    """A wrong field is named and nothing is kept."""
    with pytest.raises(InputError) as caught:
        calipers.add_caliper(shop, INCH | fields)
    assert caught.value.field == field
    assert shop.book.calipers() == ()


def test_two_calipers_have_two_names(shop: Shop) -> None:
    """A name that differs in case alone is taken."""
    added(shop)
    with pytest.raises(InputError, match="no other caliper"):
        added(shop, name="caliper a")


def test_the_caliper_in_hand_is_remembered_until_struck(shop: Shop) -> None:
    """None at first, then the one chosen; a struck one is neither in hand nor to be taken."""
    row, other = added(shop), added(shop, name="B")
    assert held_caliper(shop.book) is None
    calipers.take_in_hand(shop, other.id)
    assert held_caliper(shop.book) == other
    assert [c.in_hand for c in calipers.register(shop)] == [False, True]
    shop.book.strike(other.id, "dropped", "KV")
    assert held_caliper(shop.book) is None
    assert [c.row for c in calipers.register(shop)] == [row]
    with pytest.raises(InputError, match="not struck out"):
        calipers.take_in_hand(shop, other.id)


def test_nothing_is_said_without_a_caliper_or_when_all_is_well(shop: Shop) -> None:
    """No caliper chosen is no warning; checked today is none either."""
    row = added(shop)
    assert calipers.standing_words(shop) == ""
    calipers.take_in_hand(shop, row.id)
    assert "zero never checked" in calipers.standing_words(shop)
    assert calipers.check_zero(shop, row, "-0.0005").passed
    assert calipers.standing_words(shop) == (
        "Caliper Caliper A is due for a check: gauge block never checked."
    )
    assert calipers.check_block(shop, row, block(), "1.0005").passed
    assert calipers.standing_words(shop) == ""


def test_checks_grow_old(shop: Shop, clock: Clock) -> None:
    """A zero holds for its day; a block for 30 days."""
    row = added(shop)
    clock.now = NOON - timedelta(days=29)
    calipers.check_block(shop, row, block(), "1.0000")
    clock.now = NOON - timedelta(days=1)
    calipers.check_zero(shop, row, "0.0000")
    found = calipers.standing_of(shop, row)
    assert (found.state, found.words) == ("overdue", "zero last checked yesterday")
    later = Shop(shop.book, "2031-05-07", "KV")
    assert "gauge block last checked 30 days ago" in calipers.standing_of(later, row).words


def test_a_check_made_after_midnight_counts_on_a_bench_left_open(shop: Shop, clock: Clock) -> None:
    """The shop's day is yesterday by then; the new zero still holds."""
    row = added(shop)
    clock.now = NOON + timedelta(hours=14)
    calipers.check_block(shop, row, block(), "1.0000")
    calipers.check_zero(shop, row, "0.0000")
    assert calipers.standing_of(shop, row).state == "good"


def test_a_failed_check_stands_until_one_passes_or_it_is_struck(shop: Shop) -> None:
    """A zero two steps off fails in words; a good one after it clears it."""
    row = added(shop)
    calipers.take_in_hand(shop, row.id)
    calipers.check_block(shop, row, block(), "1.0000")
    result = calipers.check_zero(shop, row, ".001")
    assert not result.passed
    assert "set zero again" in result.words
    assert "failed its check: zero off by +0.0010 in" in calipers.standing_words(shop)
    bad = shop.book.checks_of(row.id)[-1]
    shop.book.strike(bad.id, "slip", "KV")
    assert "zero never checked" in calipers.standing_words(shop)
    calipers.check_zero(shop, row, "0")
    assert calipers.standing_words(shop) == ""


def test_a_check_is_kept_as_typed(shop: Shop) -> None:
    """Texts, units and mm of block and reading, whoever had it in hand."""
    row = added(shop)
    calipers.check_block(shop, row, calipers.block_size("25 mm", "in"), ".984")
    (kept,) = shop.book.checks_of(row.id)
    assert (kept.kind, kept.who) == ("block", "KV")
    assert (kept.nominal_text, kept.nominal_unit, kept.nominal_mm) == ("25 mm", "mm", 25.0)
    assert (kept.reading_text, kept.reading_unit) == (".984", "in")
    assert kept.reading_mm == pytest.approx(24.9936)


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [("10005", "in", 25.4127), ("25.41", "mm", 25.41), ("1,0005", "in", 25.4127)],
)
def test_a_block_reading_is_understood_by_its_size(
    shop: Shop, text: str, unit: str, mm: float
) -> None:
    """Digits without a point, a decimal comma, and a caliper set to the other unit."""
    row = added(shop)
    calipers.check_block(shop, row, block(), text)
    (kept,) = shop.book.checks_of(row.id)
    assert (kept.reading_text, kept.reading_unit) == (text, unit)
    assert kept.reading_mm == pytest.approx(mm, abs=1e-9)


def test_slips_are_refused_and_not_kept(shop: Shop) -> None:
    """A zero far from 0, a reading far from its block, a size no block has, no number at all."""
    row = added(shop)
    for text in ("5", "0.1 in", "x", ""):
        with pytest.raises(InputError, match=r"^zero"):
            calipers.check_zero(shop, row, text)
    for text in ("2.0", "-1.0", "0.9", "x"):
        with pytest.raises(InputError, match=r"^block reading"):
            calipers.check_block(shop, row, block(), text)
    for text in ("0", "-1", "25.4", "x", "1e3"):
        with pytest.raises(InputError, match=r"^block"):
            block(text)
    assert shop.book.checks_of(row.id) == ()


def test_the_shop_says_how_long_a_block_check_holds(shop: Shop, clock: Clock) -> None:
    """Seven days instead of thirty; 0 asks for no check at all; what is no number is not set."""
    row = added(shop)
    clock.now = NOON - timedelta(days=8)
    calipers.check_block(shop, row, block(), "1.0000")
    clock.now = NOON
    calipers.check_zero(shop, row, "0.0000")
    assert calipers.standing_of(shop, row).state == "good"
    shop.remember("check_interval_days", "7")
    assert "gauge block last checked 8 days ago" in calipers.standing_of(shop, row).words
    for text in ("x", "", "-1", "1e3"):
        shop.remember("check_interval_days", text)
        assert calipers.interval_days(shop) == (1, 30)
    shop.remember("check_interval_days", "0")
    never = added(shop, name="Caliper B")
    assert calipers.standing_of(shop, never).state == "good"


def test_a_caliper_that_cannot_be_does_not_hide_the_others(shop: Shop) -> None:
    """A row of other hands with no step is shown as failed, in words."""
    bad = shop.book.add_caliper(rows.Caliper("", "Odd", "in", 0.0, 0.02))
    good = added(shop)
    found = {c.row.id: c.standing for c in calipers.register(shop)}
    assert found[bad.id].state == "failed"
    assert "resolution" in found[bad.id].words
    assert found[good.id].state == "overdue"


def test_hostile_names_are_one_plain_sentence(shop: Shop) -> None:
    """Control characters are written out, and a long name leaves room for the reason."""
    row = added(shop, name="\x1b[31m" + "n" * 60)
    calipers.take_in_hand(shop, row.id)
    words = calipers.standing_words(shop)
    assert "\x1b" not in words
    assert "…" in words
    assert "zero never checked" in words
