"""The shop's rules and the stages: changed lists, repeats, second eyes, and the re-check."""

from __future__ import annotations

import pytest

from tests.shop import advance, at_stage, heron, read, ski, walk_to
from workbench.advice.checklists import (
    FINAL,
    RECEIVED,
    CheckItem,
    final_items,
)
from workbench.errors import InputError
from workbench.records.store import rows
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import check_name
from workbench.work.roster import check_lists
from workbench.work.trust.shop_policy import (
    SHIPPED_RULES,
    checklist_text,
    items_of,
    shop_rules,
    torque_of,
)


def _heron(shop: Shop, stage: str) -> JobView:
    view = ski(shop, "Heron 66")
    return walk_to(shop, view, heron(view), stage)


def _keys(view: JobView) -> list[str]:
    return [i.key for i in view.checklist]


# -- checklists ------------------------------------------------------------------------------------


@pytest.mark.parametrize("stage", ["as received", "studs", "turning", "within", "signed off"])
def test_a_job_past_its_received_check_does_not_fall_back_when_an_item_is_added(
    shop: Shop, stage: str
) -> None:
    """What was passed under the list of then stays passed."""
    view = _heron(shop, stage)
    check_lists.add_item(shop, "received", "Bindings looked at")
    assert shop.view(view.job.id).stage == stage
    assert next(x.stage for x in shop.roster() if x.job_id == view.job.id) == stage


def test_a_job_in_the_middle_of_its_received_check_gets_the_new_item(shop: Shop) -> None:
    """The list now in force is the one that is gone through; what is ticked stays ticked."""
    view = ski(shop, "Heron 66")
    view = shop.tick(view, "edges")
    check_lists.add_item(shop, "received", "Bindings looked at", "cracks")
    view = shop.view(view.job.id)
    assert _keys(view) == ["edges", "cracks", "bindings-looked-at", "hardware"]
    for key in ("cracks", "bindings-looked-at", "hardware"):
        assert view.stage == "received check"
        view = shop.tick(view, key)
    assert view.stage == "as received"


def test_an_item_that_is_taken_off_is_no_longer_waited_for(shop: Shop) -> None:
    """A job whose other items are ticked goes on at once."""
    view = ski(shop, "Heron 66")
    view = shop.tick(shop.tick(view, "edges"), "cracks")
    check_lists.remove_item(shop, "received", "hardware")
    assert shop.view(view.job.id).stage == "as received"


def test_taking_the_last_tick_back_asks_by_the_list_of_now(shop: Shop) -> None:
    """The new item is due once the check is open again."""
    view = _heron(shop, "as received")
    check_lists.add_item(shop, "received", "Bindings looked at")
    view, _ = shop.take_back(shop.view(view.job.id))
    assert view.stage == "received check"
    view = shop.tick(view, "hardware")
    assert (view.stage, view.check_due and view.check_due.key) == (
        "received check", "bindings-looked-at",
    )  # fmt: skip


def test_a_job_past_its_final_check_keeps_it_and_a_signed_off_one_stays_signed_off(
    shop: Shop,
) -> None:
    """An item added later holds for the checks to come."""
    done, ready = at_stage(shop, "signed off"), _heron(shop, "sign-off")
    check_lists.add_item(shop, "final", "Base wiped")
    assert shop.view(done.job.id).stage == "signed off"
    ready = shop.view(ready.job.id)
    assert ready.stage == "sign-off"
    assert shop.sign_off(ready, "KV").stage == "signed off"


def test_an_item_added_within_the_final_check_comes_before_the_clamp_bolts(shop: Shop) -> None:
    """The clamp bolts are ticked last, whatever was added meanwhile."""
    view = _heron(shop, "final check")
    view = shop.tick(view, "studs")
    check_lists.add_item(shop, "final", "Base wiped")
    view = shop.view(view.job.id)
    assert _keys(view) == ["studs", "block", "base-wiped", "clamp"]
    for key in ("block", "base-wiped", "clamp"):
        view = shop.tick(view, key)
    assert view.stage == "sign-off"


def test_clamp_bolts_ticked_before_a_struck_item_have_to_be_ticked_again(shop: Shop) -> None:
    """Where an earlier tick is struck out, the clamp bolts were not the last thing looked at."""
    view = _heron(shop, "sign-off")
    studs = next(f for f in view.facts if isinstance(f, rows.Tick) and f.item == "studs")
    shop.book.strike(studs.id, "did not look", "KV")
    view = shop.view(view.job.id)
    assert (view.stage, view.progress.ticked) == ("final check", frozenset({"block"}))
    view = shop.tick(view, "studs")
    assert view.stage == "final check"
    assert shop.tick(view, "clamp").stage == "sign-off"


def test_the_wings_item_is_for_skis_with_a_wing_only(shop: Shop) -> None:
    """The kept list holds it; a ski without a wing is never asked."""
    check_lists.move_item(shop, "final", "wing", -1)
    rules = shop_rules(shop.book)
    assert [i.key for i in rules.final_now] == ["studs", "wing", "block", "clamp"]
    assert _keys(_heron(shop, "final check")) == ["studs", "block", "clamp"]


def test_the_first_and_last_items_of_the_lists_as_shipped() -> None:
    """Edges and cracks before anything is touched, the clamp bolts after everything."""
    assert {"edges", "cracks", "hardware"} == {i.key for i in RECEIVED}
    assert [i.key for i in final_items(True)] == ["studs", "block", "wing", "clamp"]
    assert final_items(False)[-1] == final_items(True)[-1] == FINAL[-1]


@pytest.mark.parametrize(
    "text",
    ["", "x", "[]", "{}", '[{"key": "a"}]', '[{"key": "a", "words": 3}]', "[1]", "null",
     '[{"key": "a", "words": "A"}, {"key": "a", "words": "B"}]', "[" * 5000],
)  # fmt: skip
def test_a_list_that_cannot_be_read_is_as_shipped(shop: Shop, text: str) -> None:
    """A setting from other hands never leaves a shop without its checks."""
    for name in ("check_received", "check_final", "torque_notes", "repeats", "second_eyes"):
        shop.remember(name, text)
    assert shop_rules(shop.book) == SHIPPED_RULES


def test_a_final_list_from_other_hands_still_ends_with_the_clamp_bolts(shop: Shop) -> None:
    """Left out or put first: they come last, in their own words."""
    for items in ([CheckItem("a", "A")], [CheckItem("clamp", "whatever"), CheckItem("a", "A")]):
        shop.remember("check_final", checklist_text(items))
        assert [i.key for i in shop_rules(shop.book).final_now] == ["a", "clamp"]
        assert shop_rules(shop.book).final_now[-1] == FINAL[-1]


def test_a_list_comes_back_as_it_was_kept() -> None:
    """Words in any script, markup and quotes included."""
    items = (CheckItem("a", 'Größe "M" [b]geprüft[/b]'), CheckItem("b", "翼"))
    assert items_of(checklist_text(items)) == items
    assert torque_of('{"clamp": "by ear"}') == {"clamp": "by ear"}


# -- repeats ---------------------------------------------------------------------------------------


def test_the_reading_due_stays_the_same_until_its_repeats_are_taken(shop: Shop) -> None:
    """With two repeats wanted each line is due twice, in its order."""
    shop.remember("repeats", "2")
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "as received")
    due = []
    while view.stage == "as received":
        assert view.due is not None
        due.append(view.due)
        line = view.lines[view.due]
        view = read(shop, view, line, fin.text(line))
    assert due == [0, 0, 1, 1, 2, 2]
    assert view.stage == "studs"


def test_fewer_repeats_do_once_there_is_one_of_each_and_it_is_said_on_purpose(shop: Shop) -> None:
    """Going on is refused before that; afterwards more repeats do not lead back."""
    shop.remember("repeats", "3")
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "as received")
    for line in view.lines:
        with pytest.raises(InputError, match="at least one of each"):
            shop.enough(view)
        view = read(shop, view, line, fin.text(line))
    view = shop.enough(view)
    assert view.stage == "studs"
    view = read(shop, view, view.lines[0], fin.text(view.lines[0]))
    assert view.stage == "studs"
    view, _ = shop.take_back(view)
    view, fact = shop.take_back(view)
    assert isinstance(fact, rows.Mark)
    assert (view.stage, view.due) == ("as received", 0)


@pytest.mark.parametrize("stage", ["target", "turning", "wing", "final check", "signed off"])
def test_more_repeats_wanted_later_do_not_lead_a_job_back(shop: Shop, stage: str) -> None:
    """Readings that were gone on from were enough."""
    view = at_stage(shop, stage) if stage == "signed off" else _past(shop, stage)
    shop.remember("repeats", "3")
    assert shop.view(view.job.id).stage == stage


def _past(shop: Shop, stage: str) -> JobView:
    if stage != "wing":
        return _heron(shop, stage)
    from tests.shop import Fin

    view = ski(shop, "Heron 67")
    return walk_to(shop, view, Fin(view, 0.690, -1.012, -0.10), stage, ("+.008", "+.012", ""))


def test_each_pass_wants_its_repeats_anew(shop: Shop) -> None:
    """Going on with fewer holds for one round alone."""
    view = _heron(shop, "measuring")
    shop.remember("repeats", "2")
    view = shop.view(view.job.id)
    fin = heron(view)
    for line in view.lines:
        view = read(shop, view, line, fin.text(line))
    assert (view.stage, view.due) == ("measuring", 0)
    assert shop.enough(view).stage in ("within", "turning")


# -- a second pair of eyes -------------------------------------------------------------------------


def test_with_second_eyes_nobody_signs_off_alone(shop: Shop) -> None:
    """Another's initials are needed first; one's own, in whatever case, are nobody else's."""
    shop.remember("second_eyes", "on")
    view = _heron(shop, "sign-off")
    with pytest.raises(InputError, match="second pair of eyes"):
        shop.sign_off(view, "KV")
    for own in ("KV", " kv ", "", "x" * 13):
        with pytest.raises(InputError):
            shop.second_eyes(view, own)
    view = shop.second_eyes(view, " OT ")
    assert view.progress.eyes == "OT"
    with pytest.raises(InputError, match="second pair of eyes"):
        shop.sign_off(view, "ot")
    view = shop.sign_off(view, "KV")
    assert view.stage == "signed off"
    kept = [f for f in view.facts if isinstance(f, rows.Mark) and f.kind == "second_eyes"]
    assert [(f.who, f.text) for f in kept] == [("KV", "OT")]


def test_second_eyes_look_again_after_anything_was_ticked_anew(shop: Shop) -> None:
    """Eyes that looked before the last tick did not see the ski as it leaves."""
    shop.remember("second_eyes", "on")
    view = shop.second_eyes(_heron(shop, "sign-off"), "OT")
    clamp = next(f for f in reversed(view.facts) if isinstance(f, rows.Tick))
    shop.book.strike(clamp.id, "bolt changed", "KV")
    view = shop.tick(shop.view(view.job.id), "clamp")
    assert (view.stage, view.progress.eyes) == ("sign-off", "")


def test_without_the_setting_one_pair_of_eyes_signs_off(shop: Shop) -> None:
    """Looking twice is the shop's choice."""
    assert shop.sign_off(_heron(shop, "sign-off"), "KV").stage == "signed off"


# -- the re-check ----------------------------------------------------------------------------------


def _recheck(shop: Shop) -> JobView:
    done = at_stage(shop, "signed off")
    return shop.view(shop.queue(done.ski.id, kind="recheck").id)


def test_a_recheck_is_the_final_check_and_the_sign_off_alone(shop: Shop) -> None:
    """No received check, no readings, no studs; the clamp bolts last as ever."""
    view = _recheck(shop)
    assert (view.stage, check_name(view)) == ("waiting", "Re-check after the ride")
    seen = [view.stage]
    fin = heron(view)
    while view.stage != "signed off":
        view = advance(shop, view, fin, ("", "", ""))
        seen.append(view.stage)
    ticks = [f for f in view.facts if isinstance(f, rows.Tick)]
    assert {t.checklist for t in ticks} == {"final"}
    assert ticks[-1].item == "clamp"
    assert list(dict.fromkeys(seen)) == ["waiting", "final check", "sign-off", "signed off"]


def test_a_recheck_takes_no_readings_and_can_be_set_aside_and_taken_back(shop: Shop) -> None:
    """It obeys the same table of stages."""
    view = _recheck(shop)
    with pytest.raises(InputError, match="take a reading: 'not at the stage"):
        shop.take_reading(view, view.lines[0], Typed("2.45", "in", 62.23))
    first = view.checklist[0].key
    view = shop.tick(view, first)
    aside = shop.set_aside(view, "the boat left")
    assert aside.stage == "set aside"
    view = shop.take_up(aside)
    assert (view.stage, view.progress.ticked) == ("final check", frozenset({first}))
    for _ in range(3):
        view, _fact = shop.take_back(view)
    assert view.stage == "waiting"
