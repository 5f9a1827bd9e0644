"""The wing's screen: by the keyboard alone, no burst answers, and both sizes as looked at."""

from __future__ import annotations

from typing import Any

import pytest

from tests.bench.screens import SIZES, Screen, before, bench
from tests.shop import Fin, ski, walk_to
from workbench.bench.app import Bench
from workbench.bench.bases.forms import Form
from workbench.bench.screens.ski.wing_screen import WingScreen, wing_picture
from workbench.work.job import base_curve
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text import wing_report
from workbench.work.trust.wing_setup import change_setup, wing_setup

SETUP = {
    "gauges": "7 7.5 8", "hold": "front", "straightedge": "6", "place": "3", "lead": "out",
}  # fmt: skip
BULGE = {"shape": "bulge", "from": "0", "chord": "6", "gap": ".028"}


def flat_text(screen: Screen) -> str:
    """Return what stands on the screen without its frames and its runs of blanks."""
    return " ".join(screen.shown().replace("│", " ").split())


async def open_wing(screen: Screen, view: JobView) -> None:
    screen.app.hands.open(view.job.id)
    screen.app.do_("wing")
    await screen.settle()


async def test_it_is_opened_from_the_sheet(shop: Shop) -> None:
    """An action of its own, with words short enough for the sheet."""
    async with bench(shop) as screen:
        await open_wing(screen, ski(shop, "Heron 67"))
        assert isinstance(screen.app.screen, WingScreen)
        await screen.pilot.press("escape")
        assert not isinstance(screen.app.screen, WingScreen)


@pytest.mark.parametrize("size", SIZES)
async def test_everything_asked_for_is_in_sight(shop: Shop, size: tuple[int, int]) -> None:
    """Angle, gauge, base, three holds, the sentence, the drawing and the screws' order."""
    change_setup(shop.book, SETUP, "in", "KV")
    async with bench(shop, size) as screen:
        await open_wing(screen, ski(shop, "Heron 67"))
        text = flat_text(screen)
        assert "7.5° is in the set" in text
        assert "bulges, radius 160.0 in" in text
        assert "7.5° held at the front is 6.4° at the middle and 5.4° at the rear." in text
        assert "Heights ×" in text
        for word in ("snug", "slide", "set", "tighten", "the maker's figure wins"):
            assert word in text


async def test_a_burst_is_held_and_changes_nothing(shop: Shop) -> None:
    """Digits and Enter off a cable neither choose a hold nor close the screen."""
    async with bench(shop) as screen:
        await open_wing(screen, ski(shop, "Heron 67"))
        screen.burst("+6.9365\n")
        await screen.settle()
        assert isinstance(screen.app.screen, WingScreen)
        assert screen.held() == ["+6.9365"]
        assert "wing_hold" in wing_setup(shop.book).assumed


async def test_plus_makes_the_marked_hold_the_shops(shop: Shop) -> None:
    async with bench(shop) as screen:
        await open_wing(screen, ski(shop, "Heron 67"))
        await screen.pilot.press("down")
        await screen.by_hand("+")
        await screen.settle()
        assert wing_setup(shop.book).hold == "rear"
        assert "from now on this shop holds its straightedge at the rear" in flat_text(screen)


async def test_a_curve_is_measured_kept_and_then_used(shop: Shop) -> None:
    """c opens the form, F2 keeps it, b makes it the ski's base: three acts on purpose."""
    view = ski(shop, "Heron 66")
    before = view.rig.base
    async with bench(shop) as screen:
        await open_wing(screen, view)
        await screen.pilot.press("c", "down", "down")
        await screen.pilot.press(*"6", "down", *".028", "f2")
        await screen.settle()
        assert isinstance(screen.app.screen, WingScreen)
        assert len(shop.book.curves_of(view.ski.id)) == 1
        assert shop.view(view.job.id).rig.base == before
        assert "not the ski's base yet" in flat_text(screen)
        await screen.pilot.press("b")
        await screen.settle()
        assert shop.view(view.job.id).rig.base != before
        assert "not the ski's base yet" not in flat_text(screen)
        await screen.pilot.press("escape")
        await screen.settle()
        assert screen.view.rig.base == shop.view(view.job.id).rig.base


async def test_a_wrong_curve_stays_in_its_form(shop: Shop) -> None:
    view = ski(shop, "Heron 67")
    async with bench(shop) as screen:
        await open_wing(screen, view)
        await screen.pilot.press("d", *"0", "f2")
        await screen.settle()
        assert isinstance(screen.app.screen, Form)
        assert "Place 2: ''" in flat_text(screen)
        assert shop.book.curves_of(view.ski.id) == ()


async def test_the_last_curve_is_struck_with_a_reason(shop: Shop) -> None:
    view = ski(shop, "Heron 67")
    base_curve.keep_curve(shop, view, "sagitta", BULGE, "in")
    async with bench(shop) as screen:
        await open_wing(screen, view)
        await screen.pilot.press("x")
        await screen.by_hand("askew")
        await screen.settle()
        await screen.by_hand("\n")
        await screen.settle()
        (row,) = shop.book.curves_of(view.ski.id)
        assert row.struck is not None
        assert row.struck.reason == "askew"


async def test_gauges_are_named_in_a_form(shop: Shop) -> None:
    async with bench(shop) as screen:
        await open_wing(screen, ski(shop, "Heron 67"))
        await screen.pilot.press("s", *"7 8", "f2")
        await screen.settle()
        assert wing_setup(shop.book).gauges == (7.0, 8.0)
        assert "for 7.5°: 7° below, 8° above" in flat_text(screen)


async def test_a_star_exchanges_the_unit_here_and_on_the_bench(shop: Shop) -> None:
    async with bench(shop) as screen:
        await open_wing(screen, ski(shop, "Heron 67"))
        await screen.pilot.press("asterisk")
        await screen.settle()
        assert "radius 4064 mm" in flat_text(screen)
        assert screen.app.hands.state.unit == "mm"


async def test_a_ski_without_a_wing_says_so(shop: Shop) -> None:
    """No angle, no screws; the base's curve stays."""
    async with bench(shop) as screen:
        await open_wing(screen, ski(shop, "Heron 66"))
        text = flat_text(screen)
        assert "this ski has no wing" in text
        assert "snug" not in text
        assert "bulges, radius 160.0 in" in text


async def test_at_the_wings_stage_the_order_stands_beside(shop: Shop) -> None:
    """Also at 80x24; the angle typed there is kept with hold and gauge, and said so."""
    change_setup(shop.book, SETUP, "in", "KV")
    view = ski(shop, "Heron 67")
    walk_to(shop, view, Fin(view, 0.690, -1.012, -0.10), "wing", ("+.008", "+.012", ""))
    async with bench(shop, (80, 24)) as screen:
        screen.app.hands.look_again()
        screen.app.hands.open(view.job.id)
        await screen.settle()
        assert "1 snug" in flat_text(screen)
        await screen.by_hand("7.5\n")
        await screen.settle()
        assert "wing angle kept: 7.5° held at the front, gauge 7.5" in flat_text(screen)


@pytest.mark.parametrize("mode", ["braille", "block", "ascii"])
@pytest.mark.parametrize("shape", ["bulge", "hollow", "flat"])
def test_the_drawing_shows_base_holds_and_wing(shop: Shop, mode: Any, shape: str) -> None:
    """Every mode, every base, from one cell to many: lines of the shop's hold, marks and words."""
    view = ski(shop, "Heron 67")
    if shape != "bulge":
        fields = {**BULGE, "shape": "hollow", "gap": "0" if shape == "flat" else ".02"}
        base_curve.keep_curve(shop, view, "sagitta", fields, "in")
    report = wing_report.wing_report(shop, view)
    drawn = wing_picture(report, 100, 12, mode)
    plain = drawn.canvas.plain()
    words = ("rests", "wing") if shape == "hollow" else ("front", "middle", "rear", "wing")
    for word in words:
        assert word in plain
    assert drawn.canvas.dots_of("base")
    assert plain.isascii() or mode != "ascii"
    for size in ((1, 1), (3, 2), (20, 3), (200, 40)):
        wing_picture(report, *size, mode)


# -- pictures -----------------------------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES, ids=["120x36", "80x24"])
@pytest.mark.parametrize("case", ["wing", "no-wing"])
def test_the_wing_looks_as_it_did(
    shop: Shop, snap_compare: Any, size: tuple[int, int], case: str
) -> None:
    """The picture is the one that was looked at and found good."""
    change_setup(shop.book, SETUP, "in", "KV")
    view = ski(shop, "Heron 67" if case == "wing" else "Heron 66")
    assert snap_compare(Bench(shop), terminal_size=size, run_before=before((), "wing", view.job.id))
