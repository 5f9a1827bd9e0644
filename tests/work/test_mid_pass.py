"""Between the first turn and its round kept, nothing that the turns were counted from changes."""

from __future__ import annotations

from collections.abc import Callable
from typing import get_args

import pytest

from tests.shop import heron, read, ski, take_back, walk_to
from workbench.errors import InputError
from workbench.work.history.compare import go_back
from workbench.work.history.history import load_history, settings_in
from workbench.work.history.rides import choose, keep_ride
from workbench.work.job.aim_last import aim_at_last
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import ChangedError, Shop
from workbench.work.job.stages import (
    ALLOWED,
    HELD,
    WHILE_TURNED,
    Event,
    MidPassError,
    check_can,
)
from workbench.work.job_text.tasks import caution_words
from workbench.work.paper.cards import card_of
from workbench.work.paper.day_sheet import day_sheet
from workbench.work.roster import baselines

EVENTS: tuple[Event, ...] = get_args(Event)


def mid_pass(shop: Shop) -> JobView:
    """A ski that was set before, with its loosening and one turn done."""
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "turning")
    view = shop.step_done(shop.step_done(view))
    assert view.progress.mid_pass
    return view


def _by_baseline(shop: Shop, view: JobView) -> object:
    return baselines.aim_at(shop, view, baselines.fitting(shop, view)[0].baseline)


def _by_setting(shop: Shop, view: JobView) -> object:
    return go_back(shop, view, settings_in(load_history(shop, view.ski.id))[0])


DOORS: dict[str, Callable[[Shop, JobView], object]] = {
    "a value": lambda s, v: s.aim_at(v, v.lines[0], Typed("2.45", "in", 62.23), "value"),
    "a change": lambda s, v: s.aim(v, v.lines[0], "+.010", "in"),
    "the baseline": lambda s, v: s.aim_at_baseline(v),
    "a baseline of the list": _by_baseline,
    "the last setting": aim_at_last,
    "a setting gone back to": _by_setting,
    "the target opened": lambda s, v: s.reopen_target(v),
    "a finer turn": lambda s, v: s.set_finest(v, 0.0625),
    "kept as it is": lambda s, v: s.accept(v),
    "a reading struck out": lambda s, v: s.strike_reading(v, v.lines[0], "slipped"),
}


@pytest.mark.parametrize("door", DOORS)
def test_no_door_stands_open_while_a_stud_is_turned(shop: Shop, door: str) -> None:
    """Each is refused with the way on, and the book and the turns stay as they are."""
    view = mid_pass(shop)
    with pytest.raises(MidPassError, match=r"middle of a round.*finish this round.*take its steps"):
        DOORS[door](shop, view)
    after = shop.view(view.job.id)
    assert after.facts == view.facts
    assert (after.stage, after.progress.step) == ("turning", 2)


@pytest.mark.parametrize("door", DOORS)
def test_a_view_read_before_the_turn_opens_no_door_either(shop: Shop, door: str) -> None:
    """Another bench turned the stud meanwhile: the act is refused with that, and nothing kept."""
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "turning")
    now = shop.step_done(shop.step_done(view))
    with pytest.raises(ChangedError, match=r"KV turned the \w+ stud .* at \d\d:\d\d"):
        DOORS[door](shop, view)
    assert shop.view(view.job.id).facts == now.facts


@pytest.mark.parametrize("door", ["a value", "the baseline", "a finer turn"])
def test_the_doors_open_again_once_the_steps_are_taken_back(shop: Shop, door: str) -> None:
    view, _ = take_back(shop, mid_pass(shop))
    assert view.progress.step == 1
    DOORS[door](shop, view)


def test_what_may_be_done_meanwhile_is_a_closed_list(shop: Shop) -> None:
    """Every event of the table is either among the few or refused."""
    at = mid_pass(shop).progress
    assert set(HELD).isdisjoint(WHILE_TURNED)
    for event in EVENTS:
        if event in WHILE_TURNED & ALLOWED["turning"]:
            check_can(at, event)
            continue
        with pytest.raises(InputError):
            check_can(at, event)


def test_a_ski_set_aside_is_in_the_middle_of_its_pass_still(shop: Shop) -> None:
    view = shop.set_aside(mid_pass(shop), "lunch")
    assert view.progress.mid_pass
    with pytest.raises(InputError):
        shop.aim_at_baseline(view)
    assert shop.take_up(view).progress.mid_pass


def test_a_wider_tolerance_of_the_shop_accepts_no_turned_fin(shop: Shop) -> None:
    """The readings of before the turn are not within, whatever is settled meanwhile."""
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "target")
    shop.remember("guard_band", "on")
    view, line = shop.set_finest(view, 0.0), view.lines[0]
    assert line.now_mm is not None
    view = shop.aim_at(view, line, Typed("+.08mm", "mm", line.now_mm + 0.08), "change", 0.1)
    view = shop.accept_target(shop.view(view.job.id))
    assert view.stage == "turning"
    while not view.progress.mid_pass:
        view = shop.step_done(view)
    shop.remember("guard_band", "off")
    assert shop.view(view.job.id).stage == "turning"


def test_a_suggestion_says_why_it_has_to_wait(shop: Shop) -> None:
    """Not that the readings are still to come, which they are not."""
    from workbench.work.history.rides import offers_of

    view = mid_pass(shop)
    keep_ride(shop, view, {"complaints": "1"})
    offer = offers_of(shop, view, "in")[0]
    assert offer.trouble.startswith("in the middle of a round")
    assert "once the readings as received" not in offer.trouble
    with pytest.raises(InputError, match="middle of a round: finish it"):
        choose(shop, view, offer)


# -- loose clamp bolts -----------------------------------------------------------------------------


def said_of(shop: Shop, view: JobView) -> tuple[bool, bool, bool, bool]:
    """Whether day sheet, card, queue and caution say of a ski that its bolts are loose."""
    name = view.ski.name
    row = next(r for r in day_sheet(shop).rows if r.ski == name)
    line = next(x for x in shop.roster() if x.job_id == view.job.id)
    return (
        "clamp bolts loose" in row.said,
        "clamp bolts loose" in card_of(shop, view).status,
        line.loose,
        "oose" in caution_words(view, at_check=False),
    )


def test_loose_bolts_are_said_from_the_loosening_to_the_snugging(shop: Shop) -> None:
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "turning")
    assert said_of(shop, view)[:3] == (False, False, False)
    while view.stage == "turning":
        view = shop.step_done(view)
        loose = view.stage == "turning"
        assert said_of(shop, view)[:3] == (loose, loose, loose)


@pytest.mark.parametrize("steps", [1, 2])
def test_a_ski_set_aside_with_loose_bolts_says_so_everywhere(shop: Shop, steps: int) -> None:
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "turning")
    for _ in range(steps):
        view = shop.step_done(view)
    view = shop.set_aside(view, "lunch")
    assert said_of(shop, view) == (True, True, True, True)


def test_loosened_and_then_aimed_anew_or_kept_the_bolts_are_still_loose(shop: Shop) -> None:
    """Another target tightens nothing; the clamp bolts ticked at the final check do."""
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "turning")
    view = shop.reopen_target(shop.step_done(view))
    view = shop.accept_target(shop.aim(view, view.lines[0], "+.012", "in"))
    assert said_of(shop, view)[:3] == (True, True, True)
    view = walk_to(shop, shop.accept(view), heron(view), "sign-off")
    assert said_of(shop, view)[:3] == (False, False, False)


def test_readings_taken_again_end_it(shop: Shop) -> None:
    """They are taken with the blade clamped."""
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "turning")
    view = shop.step_done(view)
    view = shop.strike_reading(view, view.lines[0], "slipped")
    assert view.progress.loose
    view = read(shop, view, view.lines[0], "2.4840")
    assert not view.progress.loose
    assert view.progress.step == 0
