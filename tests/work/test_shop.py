"""A ski's job by use cases: from waiting to signed off, and what must not happen."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.shop import (
    Fin,
    advance,
    at_stage,
    demo_file,
    heron,
    open_shop,
    read,
    ski,
    take_back,
    walk_to,
)
from workbench.errors import InputError
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.pose.starts import sweep
from workbench.records.store import rows
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import stage_words, trouble_words
from workbench.work.order import rigs


def _stages(shop: Shop, view: JobView, fin: Fin, changes: tuple[str, ...]) -> list[str]:
    seen = [stage_words(view)]
    while view.stage != "signed off":
        view = advance(shop, view, fin, changes)
        if seen[-1] != stage_words(view):
            seen.append(stage_words(view))
    return seen


def test_a_job_goes_from_waiting_to_signed_off_in_two_passes(shop: Shop) -> None:
    """A blade that slipped by a stud's eighth after the first round is caught by the second."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "measuring", ("+.010", "", "-.015"))
    fin.pose = fin.rig.seated(fin.pose, [0.25, 0.0, 0.25])
    assert _stages(shop, view, fin, ("+.010", "", "-.015")) == [
        "measuring, round 1", "turning, round 2", "measuring, round 2", "on target",
        "final check", "sign-off", "signed off",
    ]  # fmt: skip
    passes = [f for f in shop.book.facts(view.job.id) if isinstance(f, rows.PassRow)]
    assert [p.number for p in passes] == [1, 2]
    assert all(any(t.turns for t in p.turns) for p in passes)


def test_a_ski_with_a_wing_asks_for_its_angle_before_the_final_check(shop: Shop) -> None:
    """The wing comes after the settings, and its screws are an item of the final check."""
    view = ski(shop, "Heron 67")
    fin = Fin(view, 0.690, -1.012, -0.10)
    view = walk_to(shop, view, fin, "wing", ("+.008", "+.012", ""))
    for bad in ("", "wide", "26", "-6", "nan", "inf"):
        with pytest.raises(InputError, match="wing angle"):
            shop.set_wing(view, bad)
    view = shop.set_wing(view, "7,5°")
    assert view.stage == "final check"
    assert [i.key for i in view.checklist] == ["studs", "block", "wing", "clamp"]
    kept = [f for f in view.facts if isinstance(f, rows.WingSetting)]
    assert (kept[-1].text, kept[-1].angle_deg) == ("7,5°", 7.5)


@pytest.mark.parametrize(
    "stage", ["waiting", "as received", "studs", "target", "turning", "within", "final check"]
)
def test_set_aside_and_taken_up_comes_back_to_the_same_place(shop: Shop, stage: str) -> None:
    """A reason is needed; afterwards the job stands just where it was left."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), stage)
    with pytest.raises(InputError, match="reason"):
        shop.set_aside(view, "  ")
    aside = shop.set_aside(view, "the [b]bolt[/b]")
    assert (aside.stage, aside.progress.reason) == ("set aside", "the [b]bolt[/b]")
    back = shop.take_up(aside)
    assert (back.stage, back.progress.step, back.due) == (stage, view.progress.step, view.due)


def test_a_struck_reading_stays_readable_and_is_due_again(shop: Shop) -> None:
    """Struck out with its reason, it is in the book and out of the numbers."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "studs")
    first = view.lines[1].latest[-1]
    view = shop.strike_reading(view, view.lines[1], "the jaw slipped")
    assert (view.stage, view.due) == ("as received", 1)
    found = next(f for f in view.facts if f.id == first.id)
    assert found.struck is not None
    assert found.struck.reason == "the jaw slipped"
    assert found.text == first.text
    with pytest.raises(InputError, match="tail"):
        shop.strike_reading(view, view.lines[1], "again")


def test_a_signed_off_ski_keeps_its_readings(shop: Shop) -> None:
    """After the sign-off no reading can be struck out under it."""
    view = at_stage(shop, "signed off")
    with pytest.raises(InputError):
        shop.strike_reading(view, view.lines[0], "too late")


def test_the_clamp_bolts_come_last_and_without_them_nothing_is_signed_off(shop: Shop) -> None:
    """Ticks go in order, each by itself; sign-off waits for the last."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "final check")
    for item in view.checklist:
        for other in view.checklist:
            if other.key != item.key:
                with pytest.raises(InputError, match="check"):
                    shop.tick(view, other.key)
        with pytest.raises(InputError, match="sign it off: 'not at the stage"):
            shop.sign_off(view, "KV")
        view = shop.tick(view, item.key)
    assert item.key == "clamp"
    for bad in ("", "  ", "M" * 13):
        with pytest.raises(InputError, match="initials"):
            shop.sign_off(view, bad)
    assert shop.sign_off(view, "KV").stage == "signed off"


def test_final_ticks_are_void_after_a_new_wing_angle(shop: Shop) -> None:
    """What was looked at before the wing was moved has to be looked at again."""
    view = ski(shop, "Heron 67")
    fin = Fin(view, 0.690, -1.012, -0.10)
    view = walk_to(shop, view, fin, "sign-off", ("+.008", "+.012", ""))
    wing = next(f for f in reversed(view.facts) if isinstance(f, rows.WingSetting))
    shop.book.strike(wing.id, "read wrongly", "KV")
    view = shop.set_wing(shop.view(view.job.id), "8")
    assert (view.stage, view.progress.ticked) == ("final check", frozenset())


def test_final_ticks_are_void_after_a_new_reading(shop: Shop) -> None:
    """A reading taken anew after the ticks makes the job go through the final check again."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "sign-off")
    view = shop.strike_reading(view, view.lines[0], "doubtful")
    assert view.stage == "measuring"
    view = read(shop, view, view.lines[0], fin.text(view.lines[0]))
    view = walk_to(shop, view, fin, "final check")
    assert view.progress.ticked == frozenset()


def test_readings_without_a_target_are_held_where_they_came_in(shop: Shop) -> None:
    """Over the rounds the held aim is the as-received reading, not the latest."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "turning")
    received = [line.received_mm for line in view.lines]
    assert [line.target_mm for line in view.lines[1:]] == received[1:]
    view = walk_to(shop, view, fin, "measuring")
    fin.pose = fin.rig.seated(fin.pose, [0.0, 0.0, 0.5])
    view = walk_to(shop, view, fin, "turning")
    assert view.progress.pass_number == 1
    assert [line.target_mm for line in view.lines[1:]] == received[1:]
    assert view.lines[1].now_mm != received[1]


def test_the_baseline_becomes_the_target_by_its_methods(shop: Shop) -> None:
    """A ski's baseline sets all its numbers at once, each kept as a baseline's."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "target")
    assert view.baseline is not None
    view = shop.aim_at_baseline(view)
    wanted = {e.method_name: e.mm for e in view.baseline.entries}
    assert {line.method.name: line.target_mm for line in view.lines} == wanted
    assert {line.target.kind for line in view.lines if line.target} == {"baseline"}


def test_a_target_needs_a_value_that_the_blade_can_read(shop: Shop) -> None:
    """A target far outside the blade is refused by name and not kept; none at all is no target."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "target")
    with pytest.raises(InputError, match="target"):
        shop.accept_target(view)
    for bad in ("24.5", "-3", "x", ""):
        with pytest.raises(InputError, match=r"target for depth"):
            shop.aim(view, view.lines[0], bad, "in")
    assert not shop.view(view.job.id).progress.targets


def test_a_finer_turn_changes_the_plan_and_stays_with_the_job(shop: Shop) -> None:
    """Rounding follows the finest turn; exact turns are the exact ones."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "turning", ("+.010", "", "-.015"))
    for turn in (0.5, 0.125, 0.0625):
        view = shop.set_finest(view, turn)
        assert view.plan is not None
        assert all((t.turns / turn).is_integer() for t in view.plan.turns)
    view = shop.view(shop.set_finest(view, 0.0).job.id)
    assert view.plan is not None
    assert all(t.turns == pytest.approx(t.exact, abs=1e-9) for t in view.plan.turns)
    for bad in (2.0, -0.125, 0.001):
        with pytest.raises(InputError, match="finest turn"):
            shop.set_finest(view, bad)


def test_while_studs_are_turned_neither_target_nor_turn_nor_end_can_be_changed(shop: Shop) -> None:
    """The readings are of before the turn: what is begun is finished or taken back."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "turning", ("+.010", "", "-.015"))
    view = shop.set_finest(shop.step_done(view), 0.0625)
    assert (view.finest_turn, view.progress.step) == (0.0625, 1)
    view = shop.step_done(view)
    for act in (shop.reopen_target, shop.accept, lambda v: shop.set_finest(v, 0.0625)):
        with pytest.raises(InputError, match="measure"):
            act(view)
    view, _ = take_back(shop, view)
    assert shop.reopen_target(view).stage == "target"


def test_a_ski_that_is_on_target_already_is_within_at_once(shop: Shop) -> None:
    """No turn is asked for where the readings meet the target as they are."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "within", ("+.001", "", ""))
    assert view.progress.pass_number == 0
    assert view.plan is not None
    assert not any(t.turns for t in view.plan.turns)


def test_an_impossible_reading_is_named_with_what_it_could_be(shop: Shop) -> None:
    """The trouble says which reading and its range; taking it back is the way on."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "as received")
    texts = [fin.text(line) for line in view.lines]
    for line, text in zip(view.lines, [texts[0], texts[1], "7.6"], strict=True):
        view = read(shop, view, line, text)
    assert view.stage == "studs"
    assert "length, tips" in trouble_words(view)
    assert "7.6" in trouble_words(view)
    assert "it could be" in trouble_words(view)
    assert view.plan is None
    view, _ = shop.take_back(view)
    view = read(shop, view, view.lines[2], texts[2])
    assert trouble_words(view) == ""


def test_repeats_are_averaged_and_each_is_kept_as_typed(shop: Shop) -> None:
    """Three readings of one kind stand as three, and the mean is the number used."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "studs")
    first = view.lines[0].latest[0]
    for text in ("2.4300", "2.4310"):
        view = read(shop, view, view.lines[0], text)
    mms = [r.mm for r in view.lines[0].latest]
    assert [r.text for r in view.lines[0].latest] == [first.text, "2.4300", "2.4310"]
    assert view.lines[0].now_mm == pytest.approx(sum(mms) / 3, abs=1e-9)
    assert view.stage == "studs"


def test_a_setting_is_there_after_the_book_was_closed(tmp_path: Path) -> None:
    """What a use case has returned is in the file."""
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        view = ski(shop, "Heron 66")
        view = walk_to(shop, view, heron(view), "turning")
    with open_shop(path) as again:
        assert again.view(view.job.id) == view


@pytest.mark.parametrize("mm", [-0.5, 1000.5, 2539974.6, float("nan"), float("inf")])
def test_a_number_that_no_caliper_shows_is_not_kept(shop: Shop, mm: float) -> None:
    """Kept, it would stand in the way of everything that is reckoned from it."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "as received")
    with pytest.raises(InputError, match="depth"):
        shop.take_reading(view, view.lines[0], Typed("x", "mm", mm))
    assert not shop.view(view.job.id).lines[0].latest


def test_a_long_number_out_of_another_book_does_not_stop_the_bench(shop: Shop) -> None:
    """Its budget takes the last row of the table, and it can be struck out."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "as received")
    shop.book.add_fact(
        view.job.id,
        "KV",
        rows.Reading(
            method_id=view.lines[0].method_id, pass_number=0, text="2000", unit="mm", mm=2000.0
        ),
    )
    view = shop.view(view.job.id)
    assert view.lines[0].now_mm == 2000.0
    view = shop.strike_reading(view, view.lines[0], "no caliper is that long")
    assert not view.lines[0].latest


def test_what_the_last_reading_asks_for_is_reckoned_before_it_is_taken(shop: Shop) -> None:
    """After the two that let the blade be, the tilts they leave open are swept; the third, kept,
    costs no second sweep and gives what it would have given."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "as received")
    while view.due is not None and view.due < 2:
        shop.foresee(view)
        line = view.lines[view.due]
        view = read(shop, view, line, fin.text(line, view.ski.unit))
    sweep.cache_clear()
    rigs._fit_or_why.cache_clear()
    shop.foresee(view)
    assert sweep.cache_info().misses == 1
    line = view.lines[2]
    view = read(shop, view, line, fin.text(line, view.ski.unit))
    assert (sweep.cache_info().misses, sweep.cache_info().hits) == (1, 1)
    readings = [Reading(x.method, x.now_mm, x.u_mm) for x in view.lines if x.now_mm and x.u_mm]
    sweep.cache_clear()
    assert view.pose == fit_pose(view.rig.blade, view.rig.base, readings, every=True).pose
