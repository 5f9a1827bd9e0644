"""Ride notes and rules of thumb: kept, offered, chosen; never more than one change at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.shop import at_stage, demo_file, heron, open_shop, ski, walk_to
from workbench.advice.ride_feel import SURE, suggestions
from workbench.errors import InputError
from workbench.measure.temperature import parse_temperature
from workbench.records.store import rows
from workbench.work.history import rides
from workbench.work.history.rides import keep_rules, read_rules, ride_rules_of, rules_text
from workbench.work.job.shop import Shop

SMALL = """
[[complaints]]
key = "slides"
words = "it slides"
[[complaints]]
key = "slow"
words = "it is slow"
[[tries]]
for = "slides"
change = "depth"
step = "+0.003 in"
why = "holds"
cost = "slower"
sure = "sometimes"
[[tries]]
for = "slow"
change = "depth"
step = "+0.003 in"
why = "odd"
cost = "much"
sure = "often"
[[tries]]
for = "slow"
change = "wing"
step = "-0.5"
why = "brakes less"
cost = "faster"
sure = "rarely"
[[water]]
below = "59 F"
change = "length"
step = "-0.1 mm"
why = "cold"
cost = "none known"
sure = "sometimes"
"""


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(demo_file(tmp_path)) as shop:
        yield shop


def test_the_list_that_ships_is_sound(shop: Shop) -> None:
    """Every complaint of it has at least one try, and each try a cost."""
    rules = ride_rules_of(shop)
    tried = {key for key, _ in rules.tries}
    assert tried == {c.key for c in rules.complaints}
    assert all(change.cost and change.why for _, change in rules.tries)
    assert rules.water


def test_one_change_for_two_complaints_is_offered_once_and_the_surest_first() -> None:
    """The reasons stand together, the surest rating of them counts."""
    rules = read_rules(SMALL)
    found = suggestions(rules, ("slides", "slow"), 14.0)
    assert [s.change.what for s in found] == ["depth", "length", "wing"]
    assert found[0].because == "it slides; it is slow"
    assert found[0].change.sure == "often"
    assert found[1].because == "water below 59 F"


@pytest.mark.parametrize(("water_c", "offered"), [(14.9, 1), (15.0, 0), (20.0, 0), (None, 0)])
def test_water_rules_apply_beyond_their_limit_only(water_c: float | None, offered: int) -> None:
    """59 F is 15 C; at the limit itself nothing is said."""
    assert len(suggestions(read_rules(SMALL), (), water_c)) == offered


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ("complaints = 3", "complaints"),
        (SMALL.replace('sure = "rarely"', 'sure = "always"'), "sure"),
        (SMALL.replace('change = "wing"', 'change = "colour"'), "change"),
        (SMALL.replace('step = "-0.5"', 'step = "9"'), "step"),
        (SMALL.replace('step = "+0.003 in"', 'step = "0.003 in"'), "step"),
        (SMALL.replace('step = "+0.003 in"', 'step = "+0.003"'), "step"),
        (SMALL.replace('step = "+0.003 in"', 'step = "+3 in"'), "step"),
        (SMALL.replace('for = "slow"', 'for = "fast"'), "for"),
        (SMALL.replace('key = "slow"', 'key = "slides"'), "complaints"),
        (SMALL.replace('key = "slow"', 'key = "so slow"'), "key"),
        (SMALL.replace('below = "59 F"', 'below = "59"'), "below"),
        (SMALL.replace('why = "cold"', 'because = "cold"'), "why"),
        (SMALL + 'more = "?"', "more"),
        ("[[complaints", "file"),
    ],
)
def test_a_wrong_list_is_refused_whole(shop: Shop, text: str, field: str) -> None:
    """The error names the key; the list in force stays."""
    before = rules_text(shop)
    with pytest.raises(InputError, match=field):
        keep_rules(shop, text)
    assert rules_text(shop) == before


def test_a_shop_keeps_its_own_list(shop: Shop) -> None:
    """What was read in is in force, word for word."""
    keep_rules(shop, SMALL)
    assert rules_text(shop) == SMALL
    assert [c.key for c in ride_rules_of(shop).complaints] == ["slides", "slow"]


def note(shop: Shop, view: rides.JobView, **fields: str) -> rows.RideNote:
    keep_rules(shop, SMALL)
    return rides.keep_ride(shop, view, fields)


def test_a_ride_note_is_kept_with_everything_said(shop: Shop) -> None:
    """Numbers and keys name complaints, the water is understood in both units."""
    view = ski(shop, "Heron 66")
    kept = note(
        shop, view, rider="Ines", place="north pond", water="59 F", rope="fourth loop",
        speed="34", complaints="2, slides 2", text="let go at =ball= [b]four[/b]", rating="3",
    )  # fmt: skip
    assert kept.complaints == ("slow", "slides")
    assert kept.water_c == pytest.approx(15.0)
    (ride,) = rides.rides_of(shop, view.ski.id)
    assert ride.note == kept
    assert ride.complaints == ("it is slow", "it slides")


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({}, "text"),
        ({"text": "fine", "water": "17"}, "water"),
        ({"text": "fine", "water": "80 C"}, "water"),
        ({"text": "fine", "rating": "6"}, "rating"),
        ({"text": "fine", "rating": "4.5"}, "rating"),
        ({"complaints": "9"}, "complaints"),
        ({"complaints": "0"}, "complaints"),
        ({"complaints": "²"}, "complaints"),
        ({"text": "x" * 5000}, "text"),
        ({"text": "a\0b"}, "text"),
    ],
)
def test_a_wrong_ride_note_names_its_field(shop: Shop, fields: dict[str, str], field: str) -> None:
    """Nothing is kept then."""
    view = ski(shop, "Heron 66")
    with pytest.raises(InputError, match=f"^{field}"):
        note(shop, view, **fields)
    assert rides.rides_of(shop, view.ski.id) == ()


def test_a_note_belongs_to_the_job_that_was_ridden(shop: Shop) -> None:
    """With a released job it is about that one."""
    view = at_stage(shop, "signed off")
    assert note(shop, view, text="good").job_id == view.job.id


def test_a_chosen_suggestion_becomes_the_target_with_its_arithmetic(shop: Shop) -> None:
    """Depth of now plus the step, in the ski's unit, and the reason stays in the book."""
    note(shop, ski(shop, "Heron 66"), complaints="slides", text="")
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "studs")
    (ride,) = rides.rides_of(shop, view.ski.id)
    (offer,) = rides.offers_for(view, ride.suggestions, "in", None)
    assert "studs" in offer.trouble
    with pytest.raises(InputError, match="studs seated"):
        rides.choose(shop, view, offer)
    view = shop.seat_studs(view)
    (offer,) = rides.offers_for(view, ride.suggestions, "in", None)
    line = view.lines[0]
    assert line.now_mm is not None
    assert "+0.0030 in = " in offer.arithmetic
    view = rides.choose(shop, view, offer)
    assert view.lines[0].target_mm == pytest.approx(line.now_mm + 0.003 * 25.4, abs=1e-9)
    notes = [f for f in view.facts if isinstance(f, rows.Mark) and f.kind == "advice"]
    assert "it slides" in notes[0].text


def test_a_wing_suggestion_counts_from_the_last_angle_kept(shop: Shop) -> None:
    """Without a wing or an angle it says so instead."""
    view = ski(shop, "Heron 66")
    note(shop, view, complaints="slow", text="")
    (ride,) = rides.rides_of(shop, view.ski.id)
    wing = next(s for s in ride.suggestions if s.change.what == "wing")
    bare = replace(view, ski=replace(view.ski, has_wing=False))
    winged = replace(view, ski=replace(view.ski, has_wing=True))
    assert rides.offers_for(bare, [wing], "in", 8.0)[0].trouble == "this ski has no wing"
    assert "never set" in rides.offers_for(winged, [wing], "in", None)[0].trouble
    (offer,) = rides.offers_for(winged, [wing], "in", 8.0)
    assert offer.arithmetic == "wing: 8° −0.5° = 7.5°"
    assert rides.try_words(wing.change, "mm") == "wing angle −0.5°"


@given(st.text(max_size=12))
def test_any_text_is_a_temperature_or_told(text: str) -> None:
    """Never another error, and never a number nobody typed."""
    try:
        found = parse_temperature(text, "water")
    except InputError:
        return
    assert any(c.isdigit() for c in text)
    assert found.unit in ("C", "F")


def test_sure_words_are_ordered() -> None:
    """The order of the offers is the order of this list."""
    assert SURE == ("often", "sometimes", "rarely")
