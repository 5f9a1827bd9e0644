"""The wing at the bench: gauges, hold, the base's curve, and what another hold reads."""

from __future__ import annotations

import pytest

from tests.shop import Fin, ski, walk_to
from workbench.advice.checklists import STEPS
from workbench.errors import InputError
from workbench.fin.wing import height_of_segment_mm
from workbench.measure.display import length_text
from workbench.records.store import rows
from workbench.work.job import base_curve
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text import wing_report
from workbench.work.trust.wing_setup import (
    change_hold,
    change_setup,
    gauges_of,
    wing_setup,
)

SETUP = {
    "gauges": "7 7.5 8", "hold": "front", "straightedge": "6", "place": "3", "lead": "out",
}  # fmt: skip
BULGE = {"shape": "bulge", "from": "0", "chord": "6", "gap": ".028"}
HOLLOW = {**BULGE, "shape": "hollow"}


def at_wing(shop: Shop) -> JobView:
    view = ski(shop, "Heron 67")
    return walk_to(shop, view, Fin(view, 0.690, -1.012, -0.10), "wing", ("+.008", "+.012", ""))


def last(view: JobView) -> rows.WingSetting:
    return [f for f in view.facts if isinstance(f, rows.WingSetting)][-1]


# -- the setup ----------------------------------------------------------------------------------


def test_until_the_shop_says_so_everything_is_assumed(shop: Shop) -> None:
    """Defaults are named as such, and no hold is kept that nobody named."""
    setup = wing_setup(shop.book)
    assert setup.assumed == (
        "gauge_set", "wing_hold", "wing_straightedge", "wing_place", "wing_lead",
    )  # fmt: skip
    kept = last(shop.set_wing(at_wing(shop), "7.5"))
    assert (kept.hold, kept.gauge) == ("", "")


def test_the_angle_keeps_hold_and_gauge(shop: Shop) -> None:
    change_setup(shop.book, SETUP, "in", "KV")
    kept = last(shop.set_wing(at_wing(shop), "7,5°"))
    assert (kept.angle_deg, kept.hold, kept.gauge) == (7.5, "front", "7.5")


def test_an_angle_between_two_gauges_names_none(shop: Shop) -> None:
    change_setup(shop.book, SETUP, "in", "KV")
    assert last(shop.set_wing(at_wing(shop), "7.6")).gauge == ""


@pytest.mark.parametrize("text", ["", "1.9", "20.1", "nan", "x"])
def test_what_is_no_wing_angle_is_told(shop: Shop, text: str) -> None:
    with pytest.raises(InputError, match="degrees from 2 to 20"):
        shop.set_wing(at_wing(shop), text)


def test_gauges_as_typed() -> None:
    assert gauges_of("8, 7.5; 7° 7.5") == (7.0, 7.5, 8.0)
    assert gauges_of(" ") == ()


@pytest.mark.parametrize(
    ("key", "text", "field"),
    [("gauges", "7 x", "gauges"), ("gauges", "45", "gauges"), ("hold", "tip", "hold"),
     ("straightedge", "0", "straightedge"), ("place", "-1", "place"), ("lead", "up", "lead"),
     ("gauges", "7 " * 41, "gauges")],
)  # fmt: skip
def test_a_wrong_setup_is_told_and_nothing_is_kept(
    shop: Shop, key: str, text: str, field: str
) -> None:
    with pytest.raises(InputError) as caught:
        change_setup(shop.book, {**SETUP, key: text}, "in", "KV")
    assert caught.value.field == field
    assert "gauge_set" in wing_setup(shop.book).assumed


def test_a_setting_gone_bad_counts_as_not_made(shop: Shop) -> None:
    """Someone wrote nonsense: the bench goes on with what it assumes, and says so."""
    for name in ("gauge_set", "wing_hold", "wing_straightedge", "wing_lead"):
        shop.book.set_setting(name, "nonsense")
    setup = wing_setup(shop.book)
    assert (setup.hold, setup.gauges, setup.lead) == ("middle", (), "out")
    assert set(setup.assumed) >= {"gauge_set", "wing_hold", "wing_straightedge", "wing_lead"}


def test_lengths_keep_the_unit_they_were_typed_in(shop: Shop) -> None:
    change_setup(shop.book, {**SETUP, "straightedge": "150", "place": "3 in"}, "mm", "KV")
    setup = wing_setup(shop.book)
    assert (setup.straightedge_mm, setup.place_mm) == pytest.approx((150.0, 76.2))


# -- holds --------------------------------------------------------------------------------------


def test_another_hold_reads_another_number(shop: Shop) -> None:
    """Over a 160 in bulge a 6 in straightedge turns by 6/160 rad from end to end: 2.15 degrees."""
    change_setup(shop.book, SETUP, "in", "KV")
    view = shop.set_wing(at_wing(shop), "7.5")
    report = wing_report.wing_report(shop, view)
    assert report.at("front").reads_deg == 7.5
    assert report.at("front").shops
    assert report.at("rear").reads_deg == pytest.approx(7.5 - 2.149, abs=1e-3)
    assert report.at("rear").off_deg == pytest.approx(-2.149, abs=1e-3)
    assert wing_report.elsewhere_words(report)[0] == (
        "7.5° held at the front is 6.4° at the middle and 5.4° at the rear."
    )


def test_a_wing_read_at_an_old_hold_is_restated_at_the_shops(shop: Shop) -> None:
    """The angle was kept with its hold; a new custom changes how it reads, not the wing."""
    change_setup(shop.book, SETUP, "in", "KV")
    view = shop.set_wing(at_wing(shop), "7.5")
    change_hold(shop.book, "rear", "KV")
    report = wing_report.wing_report(shop, view)
    assert report.at("front").reads_deg == 7.5
    assert report.at("rear").shops
    assert report.at("rear").off_deg == 0.0
    assert report.at("front").off_deg == pytest.approx(2.149, abs=1e-3)


def test_the_gauges_next_to_the_wanted_angle(shop: Shop) -> None:
    change_setup(shop.book, SETUP, "in", "KV")
    view = ski(shop, "Heron 67")
    report = wing_report.wing_report(shop, view)
    wanted = report.target_deg if report.target_deg is not None else report.angle_deg
    assert report.below is not None
    assert report.below <= wanted
    assert wing_report.gauge_words(report)


def test_a_ski_without_a_wing_says_so(shop: Shop) -> None:
    """No angle and no gauge, but its base can be measured."""
    view = ski(shop, "Heron 66")
    report = wing_report.wing_report(shop, view)
    assert (report.has_wing, report.setting) == (False, None)
    assert wing_report.elsewhere_words(report) == (wing_report.NO_WING,)
    assert base_curve.keep_curve(shop, view, "sagitta", BULGE, "in").measured.told_from_flat


def test_a_flat_and_a_hollow_base_read_the_same_at_every_hold(shop: Shop) -> None:
    flat = wing_report.wing_report(shop, ski(shop, "Otter 65"))
    assert {line.off_deg for line in flat.holds} == {0.0}
    view = ski(shop, "Heron 67")
    base_curve.keep_curve(shop, view, "sagitta", HOLLOW, "in")
    report = wing_report.wing_report(shop, view)
    assert {line.off_deg for line in report.holds} == {0.0}
    assert report.at("front").held.touches_mm == pytest.approx((0.0, 152.4))
    assert "rests on both its ends" in wing_report.elsewhere_words(report)[0]


# -- the curve ----------------------------------------------------------------------------------


def test_a_curve_is_kept_and_not_used_until_it_is_asked_for(shop: Shop) -> None:
    view = ski(shop, "Heron 67")
    before = view.rig.base
    kept = base_curve.keep_curve(shop, view, "sagitta", BULGE, "in")
    assert kept.row.radius_mm == pytest.approx((36.0 / 0.224 + 0.014) * 25.4)
    assert kept.row.apex_mm == pytest.approx(76.2)
    assert shop.view(view.job.id).rig.base == before
    report = wing_report.wing_report(shop, view)
    assert report.curve is not None
    assert not report.curve_in_use
    assert "±" in wing_report.curve_words(report, "in")
    assert report.at("rear").u_deg is not None


def test_the_measured_curve_becomes_the_skis_base_on_purpose(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    base_curve.keep_curve(shop, view, "sagitta", BULGE, "in")
    new = base_curve.use_curve(shop, view)
    assert new.rig.base.radius_mm == pytest.approx(36.0 / 0.224 * 25.4, rel=1e-3)
    assert new.rig.base.apex_mm == pytest.approx(76.2)
    assert wing_report.wing_report(shop, new).curve_in_use


def test_no_base_changes_in_the_middle_of_a_pass(shop: Shop) -> None:
    view = shop.step_done(shop.step_done(ski(shop, "Heron 67")))
    base_curve.keep_curve(shop, view, "sagitta", BULGE, "in")
    assert view.progress.mid_pass
    with pytest.raises(InputError, match="finish this round"):
        base_curve.use_curve(shop, view)


def test_a_gap_too_small_to_tell_makes_a_flat_base(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    base_curve.keep_curve(shop, view, "sagitta", {**BULGE, "gap": "0.001"}, "in")
    assert "flat within what was measured" in wing_report.curve_words(
        wing_report.wing_report(shop, view), "in"
    )
    assert base_curve.use_curve(shop, view).rig.base.radius_mm is None


def test_a_hollow_base_is_measured_and_shown_but_carries_no_pose(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    kept = base_curve.keep_curve(shop, view, "sagitta", HOLLOW, "in")
    assert kept.row.radius_mm is not None
    assert kept.row.radius_mm < 0.0
    assert wing_report.curve_words(wing_report.wing_report(shop, view), "in").startswith(
        "hollow, radius 160.7"
    )
    with pytest.raises(InputError, match="hollow"):
        base_curve.use_curve(shop, view)


def test_three_depths_give_the_base_they_were_taken_on(shop: Shop) -> None:
    """An arc of 4000 mm about 80 mm, read to 0.01 mm from a level straightedge."""
    view = ski(shop, "Lark 66")
    fields = {}
    for number, x in enumerate((0.0, 80.0, 160.0), 1):
        depth = 20.0 + height_of_segment_mm(4000.0, 2.0 * abs(x - 80.0)) if x != 80.0 else 20.0
        fields[f"place_{number}"] = f"{x:g}"
        fields[f"depth_{number}"] = length_text(depth, "mm")
    kept = base_curve.keep_curve(shop, view, "three depths", fields, "mm")
    assert kept.measured.apex_mm == pytest.approx(80.0)
    assert kept.measured.radius_mm == pytest.approx(4000.0, rel=0.01)
    assert kept.measured.u_radius_mm == pytest.approx(4000.0 * 0.0245 / 0.8, rel=0.1)
    assert kept.row.kind == "three depths"
    again = base_curve.latest_curve(shop, view.ski.id)
    assert again is not None
    assert again.measured == kept.measured


def test_a_struck_curve_gives_way_to_the_one_before(shop: Shop) -> None:
    view = ski(shop, "Heron 67")
    first = base_curve.keep_curve(shop, view, "sagitta", BULGE, "in")
    second = base_curve.keep_curve(shop, view, "sagitta", {**BULGE, "gap": ".03"}, "in")
    assert base_curve.latest_curve(shop, view.ski.id) == second
    base_curve.strike_curve(shop, second, "the straightedge lay askew")
    now = base_curve.latest_curve(shop, view.ski.id)
    assert now is not None
    assert now.row.id == first.row.id
    assert len(shop.book.curves_of(view.ski.id)) == 2


@pytest.mark.parametrize(
    ("kind", "fields", "field"),
    [("sagitta", {**BULGE, "shape": "round"}, "shape"),
     ("sagitta", {**BULGE, "chord": ""}, "chord"),
     ("sagitta", {**BULGE, "gap": "-.01"}, "gap"),
     ("sagitta", {**BULGE, "gap": "4"}, "sagitta"),
     ("three depths", {"place_1": "0", "depth_1": ".8"}, "place 2")],
)  # fmt: skip
def test_a_curve_that_cannot_be_is_told_and_not_kept(
    shop: Shop, kind: rows.CurveKind, fields: dict[str, str], field: str
) -> None:
    view = ski(shop, "Heron 67")
    with pytest.raises(InputError) as caught:
        base_curve.keep_curve(shop, view, kind, fields, "in")
    assert caught.value.field == field
    assert shop.book.curves_of(view.ski.id) == ()


def test_nothing_measured_cannot_be_used(shop: Shop) -> None:
    with pytest.raises(InputError, match="measured first"):
        base_curve.use_curve(shop, ski(shop, "Heron 66"))


def test_the_screws_are_snugged_before_and_tightened_after() -> None:
    """Snug, slide, set, tighten: in that order."""
    assert [step.name for step in STEPS] == ["snug", "slide", "set", "tighten"]
