"""The demo shop: full enough to show everything, the same at every run, and no real name in it."""

from __future__ import annotations

from pathlib import Path

from tests.shop import TODAY, open_shop
from workbench.records.store import rows
from workbench.work.demo import build_demo
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import trouble_words


def test_the_day_has_skis_at_many_stages_and_in_both_units(shop: Shop) -> None:
    """At least eight skis, most stages, inch and metric, three blades, two blocks, a wing."""
    roster = shop.roster()
    views = [shop.view(line.job_id) for line in roster]
    assert len(roster) >= 8
    assert len({line.stage for line in roster}) >= 8
    assert {line.unit for line in roster} == {"in", "mm"}
    assert len({v.blade_name for v in views}) == 3
    assert len({v.block_name for v in views}) == 2
    assert {v.ski.has_wing for v in views} == {True, False}


def test_every_view_is_without_trouble_and_every_reading_is_marked_as_demo(shop: Shop) -> None:
    """No demo ski begins with an impossible reading, and none of its numbers is a real one."""
    for line in shop.roster():
        view = shop.view(line.job_id)
        assert trouble_words(view) == ""
        assert all(f.how == "demo" for f in view.facts if isinstance(f, rows.Reading))


def test_each_ski_has_signed_off_history_and_a_baseline(shop: Shop) -> None:
    """Each ski was here before, signed off, and left its first numbers as a baseline."""
    for line in shop.roster():
        ski = shop.view(line.job_id).ski
        earlier = [h for h in shop.book.history_of_ski(ski.id) if h.job.day < TODAY.isoformat()]
        assert earlier
        assert all(any(isinstance(f, rows.SignOff) for f in h.facts) for h in earlier)
        assert shop.book.baselines_of(ski.id)


def test_the_demo_is_the_same_at_every_run(tmp_path: Path, shop: Shop) -> None:
    """Two builds for one day have the same readings and stages."""
    build_demo(tmp_path / "again.db", today=TODAY).close()
    with open_shop(tmp_path / "again.db") as again:
        for one, two in zip(shop.roster(), again.roster(), strict=True):
            assert (one.ski_name, one.stage) == (two.ski_name, two.stage)
            now = [[x.now_mm for x in s.view(j.job_id).lines]
                   for s, j in ((shop, one), (again, two))]  # fmt: skip
            assert now[0] == now[1]
