"""What a reading's budget takes from its caliper, its checks until then, and its temperature."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import GTC
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import ufloat

from tests.shop import as_received, read, ski
from workbench.fin.reading.method import Method
from workbench.measure.calipers import din862_mpe_mm
from workbench.measure.temperature import MATERIALS
from workbench.records.store import rows
from workbench.work.job.entry import Typed
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import no_turn_words
from workbench.work.roster import calipers
from workbench.work.trust.reading_budget import (
    budget_of,
    default_figures,
    reading_u_mm,
    worst_of,
)
from workbench.work.trust.reading_tools import STATED_HALF_WIDTH_C, Gauge, Tools

DEPTH = Method("depth", "depth")


def caliper(step_mm: float = 0.01, mpe_mm: float = 0.03, name: str = "C", **more) -> rows.Caliper:
    return rows.Caliper(f"id-{name}", name, "mm", step_mm, mpe_mm, **more)


def check(number: int, nominal_mm: float, reading_mm: float) -> rows.CaliperCheck:
    kind = "zero" if nominal_mm == 0 else "block"
    return rows.CaliperCheck(
        id=f"{number:04d}", at="2031-05-06T12:00:00+00:00", who="KV", caliper_id="id-C", kind=kind,
        nominal_text=str(nominal_mm), nominal_unit="mm", nominal_mm=nominal_mm,
        reading_text=str(reading_mm), reading_unit="mm", reading_mm=reading_mm,
    )  # fmt: skip


def kept(number: int, mm: float, by: str | None = "id-C", at: str | None = None) -> rows.Reading:
    return rows.Reading(
        id=f"{number:04d}", at="", who="", job_id="", method_id="m", pass_number=0, text="",
        unit="mm", mm=mm, caliper_id=by, temperature_id=at,
    )  # fmt: skip


def warm(blade_c: float, caliper_c: float) -> rows.Temperature:
    return rows.Temperature(
        id="t", at="", who="", job_id="", text="", unit="C", blade_c=blade_c, caliper_c=caliper_c,
        blade_material="aluminium", caliper_material="steel",
    )  # fmt: skip


# -- independent oracles -----------------------------------------------------------------------

LENGTHS = st.floats(10.0, 190.0)
SMALL = st.floats(0.001, 0.05)


@settings(max_examples=60, deadline=None)
@given(
    step=SMALL, mpe=SMALL, off=st.floats(-1.0, 1.0), slope=st.floats(-4.0, 4.0), mean=LENGTHS,
    scatter=st.lists(st.floats(-0.05, 0.05), min_size=2, max_size=6, unique=True),
)  # fmt: skip
def test_a_budget_by_the_calipers_figures_is_what_two_other_packages_say(
    step: float, mpe: float, off: float, slope: float, mean: float, scatter: list[float]
) -> None:
    """u as the package `uncertainties` sums it, and u and degrees of freedom as GTC does."""
    zero = off * step * 0.999
    gauge = Gauge(caliper(step, mpe), (check(1, 0.0, zero),))
    readings = [kept(9 + i, mean + s) for i, s in enumerate(scatter)]
    taken = Tools({"id-C": gauge}).taken("m", DEPTH, readings)
    found = budget_of(taken.values_mm, slope, taken.figures)

    n, values = len(readings), [r.mm for r in readings]
    centre = math.fsum(values) / n
    sd = math.sqrt(math.fsum((v - centre) ** 2 for v in values) / (n - 1))
    half = step / 2
    # The rod adds 0.02 mm to the caliper's own permissible error (ISO 13385-1).
    widths = [half, mpe + 0.02, half + abs(zero), centre * 11.6e-6 * 5.0]
    us = [(w / math.sqrt(3), math.inf) for w in widths]
    us += [(sd / math.sqrt(n), n - 1), *([(0.01 * abs(slope), math.inf)] if slope else [])]
    total = centre + sum(ufloat(0.0, u) for u, _ in us)
    assert found.u == pytest.approx(total.std_dev, rel=1e-9)
    by_gtc = sum((GTC.ureal(0.0, u, dof) for u, dof in us), GTC.constant(centre))
    assert found.u == pytest.approx(GTC.uncertainty(by_gtc), rel=1e-9)
    # GTC takes a million degrees of freedom and more for infinitely many.
    if found.dof < 1e6:
        assert found.dof == pytest.approx(GTC.dof(by_gtc), rel=1e-6)


@settings(max_examples=60, deadline=None)
@given(mm=LENGTHS, blade_c=st.floats(-10.0, 45.0), caliper_c=st.floats(-10.0, 45.0))
def test_a_stated_temperatures_parts_are_those_of_the_correction_itself(
    mm: float, blade_c: float, caliper_c: float
) -> None:
    """The derivative of the whole formula of ISO 1's correction, by `uncertainties`."""
    tools = Tools({}, None, {"t": warm(blade_c, caliper_c)})
    taken = tools.taken("m", DEPTH, [kept(1, mm, None, "t")])
    assert taken.figures is not None
    assert taken.figures.warmth is not None
    wide = STATED_HALF_WIDTH_C / math.sqrt(3)
    blade, steel = MATERIALS["aluminium"].per_c, MATERIALS["steel"].per_c
    a_b = ufloat(blade, 0.1 * blade / math.sqrt(3))
    a_c = ufloat(steel, 0.1 * steel / math.sqrt(3))
    t_b, t_c = ufloat(blade_c, wide), ufloat(caliper_c, wide)
    length = mm * (1 + a_c * (t_c - 20)) / (1 + a_b * (t_b - 20))
    assert taken.values_mm[0] == pytest.approx(length.nominal_value, abs=1e-9)
    # The parts are taken at first order of the expansion: 30 degC of aluminium are 7e-4.
    u = math.hypot(*(part.component for part in taken.figures.warmth))
    assert u == pytest.approx(length.std_dev, rel=2e-3)


# -- which figures -----------------------------------------------------------------------------


def test_without_a_caliper_it_is_the_default_budget() -> None:
    """A reading that names none is worth just what an order file's is."""
    taken = Tools().taken("m", DEPTH, [kept(1, 62.0, None)])
    default = default_figures(62.0, method=DEPTH)
    assert budget_of([62.0], 0.0, taken.figures).u == reading_u_mm([62.0], 0.0, default)
    assert budget_of([62.0], 0.5, taken.figures).u == reading_u_mm([62.0], 0.5, default)


def test_the_permissible_error_follows_the_length_where_din_862_gives_it() -> None:
    gauge = Gauge(caliper(din862_scale="digital"))
    for mm in (62.0, 178.0):
        assert gauge.figures(mm).mpe.mm == din862_mpe_mm(mm)
    assert gauge.figures(178.0).mpe.mm > gauge.figures(62.0).mpe.mm
    assert Gauge(caliper(mpe_mm=0.025)).figures(178.0).mpe.mm == 0.025


def test_the_newest_passing_checks_before_the_reading_count() -> None:
    """A failed check, one made later and one of a kind replaced since say nothing about it."""
    checks = (
        check(1, 0.0, 0.010), check(2, 100.0, 100.02), check(3, 0.0, 0.004), check(4, 0.0, 0.5),
        check(8, 100.0, 100.00),
    )  # fmt: skip
    gauge = Gauge(caliper(), checks)
    assert gauge.figures(62.0, "0005").zero_mm.mm == pytest.approx(0.005 + 0.02)
    assert gauge.figures(62.0, "0002").zero_mm.mm == pytest.approx(0.005 + 0.010)
    assert gauge.figures(62.0).zero_mm.mm == pytest.approx(0.005 + 0.004)
    assert gauge.figures(62.0, "0000").zero_mm.mm == 0.005
    assert "no passing check" in gauge.figures(62.0, "0000").zero_mm.origin


def test_repeats_by_several_calipers_take_the_worst_of_each_figure() -> None:
    """The coarse display of one and the large error of the other, both named."""
    tools = Tools({
        "id-A": Gauge(caliper(0.05, 0.02, "A")), "id-B": Gauge(caliper(0.01, 0.04, "B")),
    })  # fmt: skip
    readings = [kept(1, 62.00, "id-A"), kept(2, 62.01, "id-B")]
    for order in (readings, readings[::-1]):
        figures = tools.taken("m", DEPTH, order).figures
        assert figures is not None
        assert (figures.resolution.mm, figures.mpe.mm, figures.zero_mm.mm) == (0.05, 0.06, 0.025)
        assert set(figures.caliper.split(" and ")) == {"A", "B"}
    one = tools.taken("m", DEPTH, readings[:1]).figures
    assert one is not None
    assert one.caliper == "A"


def test_one_repeat_without_a_temperature_leaves_the_default_for_all() -> None:
    tools = Tools({}, None, {"t": warm(25.0, 25.0)})
    both = tools.taken("m", DEPTH, [kept(1, 62.0, None, "t"), kept(2, 62.0, None)])
    assert both.figures is not None
    assert both.figures.warmth is None
    assert worst_of([default_figures(62.0)] * 2).warmth is None


def test_a_caliper_that_cannot_be_leaves_the_default_and_says_so() -> None:
    """A row of other hands with no step must not stop the bench."""
    figures = Gauge(caliper(0.0)).figures(62.0)
    assert figures.resolution == default_figures(62.0).resolution
    assert "cannot be" in figures.caliper


# -- at the bench ------------------------------------------------------------------------------


def test_a_reading_is_worth_what_its_own_caliper_is(shop: Shop) -> None:
    """A coarse caliper makes the reading coarse; another taken in hand later changes nothing."""
    view = as_received(shop)
    fields = {"name": "Coarse", "unit": "mm", "resolution": "0.05", "mpe": "0.1"}
    coarse = calipers.add_caliper(shop, fields)
    view = shop.take_reading(view, view.lines[0], Typed("62.7", "mm", 62.7, "typed", coarse))
    u = view.lines[0].u_mm
    assert u is not None
    assert u > 2.0 * reading_u_mm([62.7])
    calipers.take_in_hand(shop, coarse)
    assert shop.view(view.job.id).lines[0].u_mm == u
    calipers.check_zero(shop, shop.book.caliper(coarse), "0.05")
    assert shop.view(view.job.id).lines[0].u_mm == u
    shop.book.strike(coarse, "dropped", "KV")
    assert shop.view(view.job.id).lines[0].u_mm == u


def test_a_guard_band_asks_for_more_than_the_tolerance_and_every_view_agrees(shop: Shop) -> None:
    """A ski within tolerance but not clear of it goes back to turning, on the roster as well."""
    view = ski(shop, "Stilt 67")
    assert view.stage == "within"
    # Twice the u of a depth by a rod alone is more than the tolerance; 0.016 mm leaves some of it.
    for x in view.lines:
        shop.book.correct_method(replace(shop.book.method(x.method_id), u_mm=0.016))
    shop.remember("guard_band", "on")
    view = shop.view(view.job.id)
    assert view.stage == "turning"
    line = next(x for x in shop.roster() if x.job_id == view.job.id)
    assert line.stage == "turning"
    assert view.plan is not None
    assert not view.plan.within
    assert "no turn this coarse" in no_turn_words(view)
    for x in view.lines:
        shop.book.correct_method(replace(shop.book.method(x.method_id), u_mm=0.05))
    view = shop.view(view.job.id)
    assert view.stage == "turning"
    assert re.search(
        r"guard band of .+, 2 u = 0\.00\d+ in, fills its tolerance of 0\.00\d+:",
        no_turn_words(view),
    )
    assert "more repeats, a wider tolerance, or k" in no_turn_words(view)
    for x in view.lines:
        shop.book.correct_method(replace(shop.book.method(x.method_id), u_mm=None))
    shop.remember("guard_band", "off")
    assert shop.view(view.job.id).stage == "within"


def test_a_guard_band_drives_no_reading_out_of_its_tolerance(shop: Shop) -> None:
    """What a narrow length would gain is not worth a tail distance beyond its own tolerance."""
    shop.remember("repeats", "3")
    shop.remember("guard_band", "on")
    view = as_received(shop)
    for i, texts in enumerate((
        ("2.4860", "2.4860", "2.4990"), (".7480", ".7480", ".7485"), ("7.0300", "7.0300", "7.0305"),
    )):  # fmt: skip
        for text in texts:
            view = read(shop, view, view.lines[i], text)
    view = shop.seat_studs(view)
    view = shop.accept_target(shop.aim(view, view.lines[0], "+.010", "in"))
    assert view.plan is not None
    assert not view.plan.within
    for line, told in zip(view.lines, view.plan.predictions, strict=True):
        assert abs(told.off_mm) <= line.tolerance_mm


def test_the_repeats_carry_their_scatter_into_the_line(shop: Shop) -> None:
    """n, mean, s and u are there as they come in."""
    view = as_received(shop)
    for text in ("2.4900", "2.4910"):
        view = read(shop, view, view.lines[0], text)
    repeats = view.lines[0].repeats
    assert repeats is not None
    assert repeats.sd is not None
    assert (repeats.n, repeats.sd / 25.4) == (2, pytest.approx(0.001 / math.sqrt(2), rel=1e-6))
    assert replace(view.lines[0], taken=None).repeats is None
