"""Settings: each accepts what its words say, refuses the rest by its name, all or none."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.by_command import Commands
from tests.shop import demo_file, open_shop
from workbench.bench.draw import themes
from workbench.bench.hand import state
from workbench.errors import InputError
from workbench.work.exchange import exchange
from workbench.work.exchange.backup import kept_of
from workbench.work.exchange.exchange_words import taken_in_lines
from workbench.work.job.shop import Shop
from workbench.work.roster import settings
from workbench.work.roster.adding import add_blade
from workbench.work.roster.calipers import interval_days
from workbench.work.study import studies
from workbench.work.trust.reading_tools import held_caliper
from workbench.work.trust.shop_policy import INTERVAL, shop_rules

GOOD = {
    "shop": ("The shed", "The shed"),
    "who": ("OT", "OT"),
    "unit": ("MM", "mm"),
    "finest_turn": ("1/16", "0.0625"),
    "repeats": ("3", "3"),
    "tolerance_depth": ("0.05 mm", "0.05 mm"),
    "tolerance_tail": ('.003"', '.003"'),
    "tolerance_length": ("4 thou", "4 thou"),
    "guard_band": ("yes", "on"),
    "check_interval_days": ("7", "7"),
    "second_eyes": ("on", "on"),
    "theme": ("bench-day", "bench-day"),
    "drawing": ("ASCII", "ascii"),
    "gauge_set": ("8, 7,5 7°", "7 7.5 8"),
    "wing_hold": ("rear", "rear"),
    "mouse": ("OFF", "off"),
    "after_lock": ("yes", "on"),
    "keys": ("note=O; history=w", "note=o; history=w"),
    "wing_straightedge": ("152 mm", "152 mm"),
    "wing_place": ("76.2mm", "76.2mm"),
    "wing_lead": ("IN", "in"),
    "far_received": ("0.8 mm", "0.8 mm"),
    "far_target": ("0.040 in", "0.040 in"),
    "learning": ("yes", "on"),
    "dial": ("Degrees", "degrees"),
    "bell": ("no", "off"),
    "flash": ("off", "off"),
    "card_folder": ("~/cards", "~/cards"),
    "backups_kept": ("30", "30"),
}

BAD = {
    "who": ("x" * 13,),
    "unit": ("cm", "inch"),
    "finest_turn": ("2", "-1/8", "1/100", "1/8 in", "eighth"),
    "repeats": ("0", "11", "2.5", "-1", "٣", "9" * 40),
    "tolerance_depth": ("0.002", "5 mm", "0 in", "-0.002 in", "x"),
    "guard_band": ("maybe", "1"),
    "check_interval_days": ("-1", "4000", "weekly"),
    "second_eyes": ("two",),
    "theme": ("pink",),
    "drawing": ("crayon",),
    "caliper": ("nobody's", "99"),
    "gauge_set": ("7 wide", "45", "nan"),
    "wing_hold": ("top",),
    "keys": ("note=o", "note=5"),
    "wing_straightedge": ("6", "1 mm", "90 m", "long"),
    "wing_place": ("3", "-1 in"),
    "wing_lead": ("up",),
    "far_received": ("0.030", "0 in", "2 in", "far"),
    "far_target": ("0.060", "-1 mm"),
    "learning": ("perhaps",),
    "dial": ("gon", "1"),
    "bell": ("loud",),
    "flash": ("2",),
    "backups_kept": ("0", "many"),
}


def test_every_setting_has_a_good_example_here_but_the_caliper() -> None:
    """A new setting is not forgotten."""
    assert set(GOOD) | {"caliper"} == {s.name for s in settings.SETTINGS}


@pytest.mark.parametrize("name", GOOD)
def test_a_good_value_is_kept_plainly(shop: Shop, name: str) -> None:
    """As the rest of the program reads it; typed once more it changes nothing."""
    text, kept = GOOD[name]
    assert settings.change(shop, {name: text}) == (name,)
    assert shop.book.setting(name) == kept
    assert settings.change(shop, {name: settings.in_force(shop)[name]}) == ()


@pytest.mark.parametrize(("name", "text"), [(n, t) for n, texts in BAD.items() for t in texts])
def test_a_bad_value_is_named_with_what_would_do_and_nothing_is_kept(
    shop: Shop, name: str, text: str
) -> None:
    """Also what else was changed with it."""
    before = shop.book.settings()
    with pytest.raises(InputError) as caught:
        settings.change(shop, {"shop": "Another", name: text})
    assert caught.value.field == name.replace("_", " ")
    assert caught.value.accepted
    assert shop.book.settings() == before


@given(st.sampled_from([s.name for s in settings.SETTINGS if s.name != "caliper"]), st.text())
def test_whatever_is_typed_is_kept_or_refused_by_name(name: str, text: str) -> None:
    """What was kept is kept the same when it is typed again: no drift, no crash."""
    setting = settings.BY_NAME[name]
    found: InputError | None = None
    try:
        kept = setting.kept(text)
    except InputError as why:
        found = why
    if found is not None:
        assert found.field == setting.field
    else:
        assert setting.kept(kept) == kept


def test_blank_goes_back_to_what_it_is_as_shipped(shop: Shop) -> None:
    """A setting can be unset."""
    settings.change(shop, {"repeats": "4", "finest_turn": "1/4"})
    settings.change(shop, {"repeats": "", "finest_turn": " "})
    now = settings.in_force(shop)
    assert (now["repeats"], now["finest_turn"]) == ("1", "")


def test_the_caliper_is_taken_in_hand_by_name_or_number(shop: Shop) -> None:
    """Its id is kept; its name is shown."""

    names = [c.name for c in shop.book.calipers()]
    for text in (names[-1].upper(), str(len(names))):
        settings.change(shop, {"caliper": ""})
        assert held_caliper(shop.book) is None
        settings.change(shop, {"caliper": text})
        assert settings.in_force(shop)["caliper"] == names[-1]


def test_the_choices_are_those_the_bench_knows() -> None:
    """Two lists of themes and drawings that must not drift apart."""
    assert settings.THEMES == themes.NAMES
    assert settings.DRAWINGS == state.DRAWINGS


def test_new_methods_begin_with_the_shops_tolerances(shop: Shop) -> None:
    """By quantity; what nobody set is as shipped."""
    settings.change(shop, {"tolerance_depth": "0.03 mm", "tolerance_tail": "0.004 in"})
    outline = "0 0; 7.3 0; 7.3 0.75; 1.6 3.48; 0 0.9"
    blade_id = add_blade(
        shop, {"name": "Plate Z", "unit": "in", "outline": outline, "top_edge": "0 0; 7.3 0",
               "back_edge": "0 0; 0 0.9", "holes": ""},
    )  # fmt: skip
    found = {m.quantity: m.tolerance_mm for m in shop.book.methods_of(blade_id)}
    assert math.isclose(found["depth"], 0.03)
    assert math.isclose(found["tail"], 0.1016)
    assert math.isclose(found["length"], 0.0508)


def test_initials_changed_here_are_whose_the_next_entries_are(shop: Shop) -> None:
    """The shop works on under them."""
    settings.change(shop, {"who": "OT"})
    assert shop.who == "OT"


def test_a_setting_is_found_with_blanks_and_dashes_and_an_unknown_one_lists_the_rest() -> None:
    """As hands write names."""
    assert settings.named("Guard-band").name == settings.named("guard band").name == "guard_band"
    with pytest.raises(InputError, match="repeats"):
        settings.named("reapeats")


MISFITS = {
    "repeats": "001" + "0" * 5000,
    "check_interval_days": "9" * 5000,
    "backups_kept": "²",
    "unit": "furlong",
    "far_received": "999 m",
    "far_target": "nan",
    "tolerance_depth": "0.002",
    "finest_turn": "1e999",
    "second_eyes": "perhaps",
    "guard_band": "\N{ARABIC-INDIC DIGIT ONE}",
}


def test_a_setting_that_does_not_fit_is_told_defaulted_and_can_be_struck_out(
    tmp_path: Path,
) -> None:
    """However it came into the book; no screen and no command stops at it."""
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        for name, text in MISFITS.items():
            shop.book.set_setting(name, text)
        study = shop.book.studies()[0]
        near = f"study near mm {study.id}"
        shop.book.set_setting(near, "abc")
        now = settings.in_force(shop)
        assert {name: now[name] for name in MISFITS} == {
            s.name: s.default for s in settings.SETTINGS if s.name in MISFITS
        }
        rules = shop_rules(shop.book)
        assert (rules.repeats, rules.second_eyes) == (1, False)
        assert interval_days(shop) == (1, INTERVAL.default)
        assert kept_of(shop.book) == 14
        assert [s.near_mm for s in studies.studies_of(shop) if s.study.id == study.id] == [None]
        lines = settings.misfit_lines(shop.book.settings())
        assert len(lines) == len(MISFITS) + 1
        assert all("it counts as not set" in line and len(line) < 400 for line in lines)
        for name in (*MISFITS, near):
            assert settings.strike_out(shop, name)
            assert not settings.strike_out(shop, name)
        assert settings.misfit_lines(shop.book.settings()) == []


def test_keeping_the_form_strikes_out_what_does_not_fit(tmp_path: Path) -> None:
    """Even where what it shows is what is in force already."""
    with open_shop(demo_file(tmp_path)) as shop:
        shop.book.set_setting("repeats", "many")
        assert settings.change(shop, {"repeats": "1"}) == ("repeats",)
        assert shop.book.setting("repeats") == "1"


def test_an_import_tells_the_settings_that_do_not_fit(tmp_path: Path) -> None:
    """By name, with the command that strikes each out."""
    (tmp_path / "one").mkdir()
    with open_shop(demo_file(tmp_path / "one")) as shop:
        for name, text in MISFITS.items():
            shop.book.set_setting(name, text)
        exchange.export_book(shop, str(tmp_path / "book.json"))
    with open_shop(demo_file(tmp_path)) as shop:
        taken = exchange.take_in(shop, str(tmp_path / "book.json"))
        told = [line for line in taken.troubles if line.startswith("Setting ")]
        assert len(told) == len(MISFITS) - 1, "the unit is one bench's own and stays there"
        assert f"! {told[0]}" in taken_in_lines(taken)
        assert shop.roster()


def test_the_command_strikes_such_a_setting_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Under whatever name it lies."""
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        near = f"study near mm {shop.book.studies()[0].id}"
        shop.book.set_setting(near, "abc")
    commands = Commands(path, capsys)
    assert any(f"! Setting {near}: 'abc' is not" in line for line in commands.run("settings"))
    assert commands.run("settings", near, "") == [f"Struck out: {near}"]
    assert not any(line.startswith("!") for line in commands.run("settings"))
