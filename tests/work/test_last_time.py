"""The last change once more, or undone, and the wing that was set with it."""

from __future__ import annotations

import pytest

from tests.bench.screens import bench
from tests.shop import DAY, heron, ski, walk_to
from workbench.cli import main
from workbench.errors import InputError
from workbench.records.store import rows
from workbench.work.history.compare import go_back
from workbench.work.history.history import load_history, settings_in
from workbench.work.history.timeline import row_words
from workbench.work.job.aim_last import (
    aim_at_last,
    aim_before_last,
    aim_one_step_more,
    last_setting,
)
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.tasks import wing_step
from workbench.work.job_text.wing_report import wing_report
from workbench.work.order.round_records import described
from workbench.work.trust.wing_setup import change_hold


def at_target(shop: Shop, name: str) -> JobView:
    """Return a new job of a ski at its target, after two signed off before it."""
    view = ski(shop, name)
    fin = heron(view)
    for changes in (("+.004", "", ""), ("+.006", "", "-.004")):
        view = walk_to(shop, view, fin, "signed off", changes)
        job = shop.book.add_job(view.ski.id, DAY)
        view = shop.view(job.id)
    return walk_to(shop, view, fin, "target")


def wanted(view: JobView) -> list[float]:
    return [line.target_mm or 0.0 for line in view.lines]


def test_one_step_more_and_undo_stand_either_side_of_the_last_setting(shop: Shop) -> None:
    """Last plus its change, and last minus its change: the one before; within what is shown."""
    view = at_target(shop, "Heron 66")
    last = last_setting(shop, view)
    assert last is not None
    before = last_setting(shop, last)
    assert before is not None
    assert wanted(last) != wanted(before)
    undone = aim_before_last(shop, view)
    assert wanted(undone) == pytest.approx(wanted(before), abs=0.002)
    more = aim_one_step_more(shop, undone)
    expected = [2 * a - b for a, b in zip(wanted(last), wanted(before), strict=True)]
    assert wanted(more) == pytest.approx(expected, abs=0.002)
    if last.wing_set_deg is not None and before.wing_set_deg is not None:
        assert undone.wing_wanted_deg == before.wing_set_deg
        assert more.wing_wanted_deg == 2 * last.wing_set_deg - before.wing_set_deg


def test_the_last_setting_brings_its_wing(shop: Shop) -> None:
    """The angle that it was set to is wanted again, by the key and from the history."""
    view = at_target(shop, "Heron 67")
    last = last_setting(shop, view)
    assert last is not None
    assert last.wing_set_deg is not None
    assert aim_at_last(shop, view).wing_wanted_deg == last.wing_set_deg


def test_a_ski_that_was_never_set_has_no_change(shop: Shop) -> None:
    """It is told, and nothing is aimed at."""
    view = ski(shop, "Gannet 68")
    with pytest.raises(InputError, match="last change"):
        aim_one_step_more(shop, view)
    with pytest.raises(InputError, match="last change"):
        aim_before_last(shop, view)


# -- the wing, with the hold that its angle was read by ----------------------------------------


def winged(shop: Shop, *wings: tuple[str, rows.WingHold]) -> JobView:
    """Return a new job at its target; the ski's wing was set so in the jobs before it."""
    view = ski(shop, "Heron 67")
    fin = heron(view)
    for n, (angle, hold) in enumerate(wings):
        view = walk_to(shop, view, fin, "wing", (("+.004", "+.002")[n % 2], "", ""))
        view = walk_to(shop, shop.set_wing(view, angle, hold), fin, "signed off")
        view = shop.view(shop.book.add_job(view.ski.id, DAY).id)
    return walk_to(shop, view, fin, "target")


def test_the_last_hold_comes_back_and_is_kept_with_the_angle(shop: Shop) -> None:
    """Though the shop holds its straightedge elsewhere now: one wing reads otherwise there."""
    view = winged(shop, ("7.5", "front"))
    change_hold(shop.book, "rear", "KV")
    view = aim_at_last(shop, view)
    assert (view.wing_wanted_deg, view.wing_wanted_hold) == (7.5, "front")
    view = walk_to(shop, view, heron(view), "wing")
    assert "to 7.5° held at the front" in wing_step(view)
    assert view.wing_hold_due == "front"
    kept = shop.set_wing(view, "7.5")
    assert kept.wing_set is not None
    assert kept.wing_set.hold == "front"
    view, _ = shop.take_back(kept)
    other = shop.set_wing(view, "7.5", "middle").wing_set
    assert other is not None
    assert other.hold == "middle"


def test_going_back_brings_the_hold_too(shop: Shop) -> None:
    """From the history, to any setting whose wing was read."""
    view = winged(shop, ("7.5", "front"), ("8", "rear"))
    settings = [s for s in settings_in(load_history(shop, view.ski.id)) if s.wing is not None]
    back = go_back(shop, view, settings[-2])
    assert (back.wing_wanted_deg, back.wing_wanted_hold) == (7.5, "front")


def test_one_step_more_goes_on_by_the_same_hold(shop: Shop) -> None:
    """And undone it is held as it was before."""
    view = winged(shop, ("7.5", "front"), ("8", "front"))
    more = aim_one_step_more(shop, view)
    assert (more.wing_wanted_deg, more.wing_wanted_hold) == (8.5, "front")
    undone = aim_before_last(shop, more)
    assert (undone.wing_wanted_deg, undone.wing_wanted_hold) == (7.5, "front")


def test_angles_read_by_two_holds_have_no_difference(shop: Shop) -> None:
    """One step more is refused with both holds named; undone the angle has its own hold."""
    view = winged(shop, ("7.5", "front"), ("8", "rear"))
    with pytest.raises(InputError, match="held at the front, then at the rear"):
        aim_one_step_more(shop, view)
    assert all(line.target is None for line in shop.view(view.job.id).lines)
    undone = aim_before_last(shop, view)
    assert (undone.wing_wanted_deg, undone.wing_wanted_hold) == (7.5, "front")


def test_no_step_leads_beyond_what_a_wing_is_set_to(shop: Shop) -> None:
    """Nothing is aimed at then."""
    view = winged(shop, ("8", "front"), ("16", "front"))
    with pytest.raises(InputError, match="24"):
        aim_one_step_more(shop, view)
    assert all(line.target is None for line in shop.view(view.job.id).lines)


def test_a_wanted_angle_of_an_older_book_names_no_hold(shop: Shop) -> None:
    """Its mark has the angle alone; then the shop's hold is due."""
    view = winged(shop, ("7.5", "front"))
    change_hold(shop.book, "rear", "KV")
    view = shop.note(view, "wing_aim", "7.5")
    assert (view.wing_wanted_deg, view.wing_wanted_hold) == (7.5, "")
    view = walk_to(shop, view, heron(view), "wing")
    assert view.wing_hold_due == "rear"


def test_one_take_back_takes_angle_and_hold(shop: Shop) -> None:
    """They are one entry, which says both; so does the history, and the wing's screen."""
    view = aim_at_last(shop, winged(shop, ("7.5", "front")))
    assert wing_report(shop, view).target_from == "held at the front"
    mark = next(f for f in reversed(view.facts) if isinstance(f, rows.Mark))
    assert described(mark) == "wing angle wanted 7.5° held at the front"
    assert row_words(mark, load_history(shop, view.ski.id), "in") == described(mark)
    view, fact = shop.take_back(view)
    assert fact is not None
    assert fact.id == mark.id
    assert view.wing_wanted_hold == ""


@pytest.mark.parametrize(("key", "angle"), [("f7", 8.5), ("f8", 7.5)])
async def test_a_key_at_the_target_does_each(shop: Shop, key: str, angle: float) -> None:
    """F7 and F8 set every target, and the wing with its hold."""
    view = winged(shop, ("7.5", "front"), ("8", "front"))
    async with bench(shop) as screen:
        screen.app.hands.open(view.job.id)
        await screen.pilot.press(key)
        assert (screen.view.wing_wanted_deg, screen.view.wing_wanted_hold) == (angle, "front")
        assert all(line.target is not None for line in screen.view.lines)


@pytest.mark.parametrize(("option", "angle"), [("--one-step-more", 8.5), ("--undo-change", 7.5)])
def test_the_command_line_does_each_too(
    shop: Shop, option: str, angle: float, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same targets as the keys; with another way beside it, it is refused."""
    view = winged(shop, ("7.5", "front"), ("8", "front"))
    book = ("--book", str(shop.book.path))
    main([*book, "aim", "--ski", view.ski.name, option])
    now = shop.view(view.job.id)
    assert (now.wing_wanted_deg, now.wing_wanted_hold) == (angle, "front"), capsys.readouterr()
    assert main([*book, "aim", "--ski", view.ski.name, option, "--last"]) == 2
