"""The last change once more, or undone, and the wing that was set with it."""

from __future__ import annotations

import pytest

from tests.shop import DAY, heron, ski, walk_to
from workbench.errors import InputError
from workbench.work.job.aim_last import (
    aim_at_last,
    aim_before_last,
    aim_one_step_more,
    last_setting,
)
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop


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
