"""A blade by calipers at the bench: digits and Enter all the way, drawn as it comes, kept."""

from __future__ import annotations

import random

import pytest

from tests.bench.screens import SIZES, Screen, bench
from tests.fin.test_caliper_trace import frame_of, read
from tests.work.scans import random_blade
from workbench.bench.bases.forms import Form
from workbench.bench.screens.shop.blade_screens import TraceScreen
from workbench.errors import InputError
from workbench.fin.trace.calipers import places_of
from workbench.measure.units import MM_PER_INCH, Unit
from workbench.work.job.shop import Shop
from workbench.work.trace.by_calipers import Tracing, draft_of, keep_by_calipers, keep_draft

BLADE = random_blade(random.Random(3), n=60)
FRAME = frame_of(BLADE)
PLACES = places_of(FRAME)


def inch(mm: float) -> str:
    return f"{mm / MM_PER_INCH:.3f}"


SIDES = [inch(x) for x in (FRAME.top_mm, FRAME.back_mm, FRAME.front_mm, FRAME.height_mm)]
HOLE = BLADE.holes[0]
HOLE_TEXTS = [
    inch(HOLE.at_mm[0] - HOLE.diameter_mm / 2), inch(HOLE.at_mm[1] - HOLE.diameter_mm / 2),
    inch(HOLE.diameter_mm),
]  # fmt: skip


def distances() -> list[str]:
    """The numbered distances of the blade as the screen's own frame asks for them."""
    frame = Tracing("in", tuple(_entries(SIDES))).frame
    assert frame is not None
    return [inch(read(BLADE, place, 0.0)) for place in places_of(frame)]


def _entries(texts: list[str]) -> list[object]:
    from workbench.work.trace.by_calipers import TypedDistance

    return [TypedDistance(t, float(t) * MM_PER_INCH) for t in texts]


async def opened(screen: Screen) -> TraceScreen:
    screen.app.do_("trace")
    await screen.pilot.pause()
    found = screen.app.screen
    assert isinstance(found, TraceScreen)
    return found


async def burst(screen: Screen, *texts: str) -> None:
    """A caliper's cable: digits and Enter, one after the other."""
    for text in texts:
        await screen.pilot.press(*text, "enter")


@pytest.mark.parametrize("size", SIZES)
async def test_from_nothing_to_a_kept_blade_by_digits_and_enter(
    shop: Shop, size: tuple[int, int]
) -> None:
    """Straight sides, 22 distances, a hole, checks, a name; most distances lie in the draft."""
    texts = distances()
    assert sum(len(t) + 1 for t in (*SIDES, *texts, *HOLE_TEXTS, "0", *SIDES[:2])) < 220
    async with bench(shop, size) as screen:
        trace = await opened(screen)
        assert "length of the top edge" in screen.shown()
        assert "sharp" in screen.shown()
        await burst(screen, *SIDES)
        place = PLACES[0]
        assert f"1: {place.at_mm / MM_PER_INCH:.3f} in below the top edge" in screen.shown()
        await burst(screen, texts[0])
        assert len(trace.tracing.read_mm) == 1
        await screen.pilot.press("escape")
        keep_draft(shop, Tracing("in", tuple(_entries([*SIDES, *texts[:-1]]))))  # type: ignore[arg-type]
        trace = await opened(screen)
        assert f"{len(texts)}: " in screen.shown()
        await burst(screen, texts[-1])
        assert trace.tracing.blade is not None
        assert "hole 1" in screen.shown()
        await burst(screen, *HOLE_TEXTS, "0", SIDES[0], SIDES[3])
        assert "length: " in screen.shown()
        assert "agrees" in screen.shown()
        await screen.pilot.press("+")
        await screen.pilot.pause(0.3)
        assert isinstance(screen.app.screen, Form)
        await screen.pilot.press(*"Alder", "f2")
        await screen.pilot.pause()
        assert not isinstance(screen.app.screen, TraceScreen | Form)
    (kept,) = [b for b in shop.book.blades() if b.name == "Alder"]
    assert kept.traced.startswith(f"calipers, {len(PLACES)} distances")
    assert 0.0 < kept.outline_u_mm < 0.1
    assert kept.holes[0].diameter_mm == pytest.approx(HOLE.diameter_mm, abs=0.03)
    assert draft_of(shop, "in").entries == ()


async def test_a_slip_is_named_before_it_is_kept_and_kept_if_insisted(shop: Shop) -> None:
    texts = distances()
    keep_draft(shop, Tracing("in", tuple(_entries([*SIDES, *texts[:-4]]))))  # type: ignore[arg-type]
    async with bench(shop, (120, 36)) as screen:
        trace = await opened(screen)
        number = len(texts) - 3
        assert "going on with" in screen.shown()
        slip = f"{float(texts[-4]) + 0.1:.3f}"
        await burst(screen, texts[-4])
        await burst(screen, f"{float(texts[-3]) + 0.1:.3f}")
        shown = " ".join(screen.shown().split())
        assert f"Distance {number + 1} contradicts the others" in shown
        assert len(trace.tracing.read_mm) == number
        await burst(screen, texts[-3])
        assert len(trace.tracing.read_mm) == number + 1
        await screen.pilot.press("u")
        assert len(trace.tracing.read_mm) == number
        insisted = f"{float(texts[-3]) + 0.1:.3f}"
        await burst(screen, insisted, insisted)  # a cable that sends twice answers nothing
        assert len(trace.tracing.read_mm) == number
        assert "+ keeps" in screen.shown()
        await screen.pilot.press("+")
        await screen.pilot.pause(0.3)
        assert trace.tracing.entries[-1].insisted
        assert slip != texts[-4]


async def test_a_number_taken_is_said_as_understood_and_a_star_asks_in_mm(shop: Shop) -> None:
    async with bench(shop, (80, 24)) as screen:
        trace = await opened(screen)
        await burst(screen, "7300")
        assert "✓ 7300 → 7.300 in taken" in screen.shown()
        assert "sharp" in screen.shown()  # the caution stays
        await screen.pilot.press("2", "*")
        assert screen.app.hands.state.unit == "mm"
        assert "to its end (mm)" in screen.shown()
        await screen.pilot.press("2", "enter")
        assert trace.tracing.entries[-1].mm == 22.0
        assert "✓ 22 mm taken" in screen.shown()
        await screen.pilot.press("*", "9", "9", ".", "0", "enter")
        assert "0.000 to 2.362 in" in screen.shown()
        assert "take it as it is" not in screen.shown()
        await screen.pilot.press("5", "escape")
        assert "entry dropped" in screen.shown()
        assert screen.app.screen is trace


async def test_leaving_keeps_the_numbers_and_plus_alone_keeps_no_half_blade(shop: Shop) -> None:
    before = len(shop.book.blades())
    async with bench(shop, (80, 24)) as screen:
        await opened(screen)
        await burst(screen, *SIDES)
        await screen.pilot.press("+")
        await screen.pilot.pause(0.3)
        assert "all numbered distances are needed" in " ".join(screen.shown().split())
        await screen.pilot.press("escape")
        await screen.pilot.pause()
        trace = await opened(screen)
        assert [e.text for e in trace.tracing.entries] == SIDES
        await burst(screen, "99")
        assert len(trace.tracing.entries) == 4
    assert len(shop.book.blades()) == before


@pytest.mark.parametrize("size", SIZES)
async def test_the_outline_is_seen_with_its_points_and_numbers(
    shop: Shop, size: tuple[int, int]
) -> None:
    async with bench(shop, size) as screen:
        await screen.pilot.pause()
        screen.app.do_("outline")
        await screen.pilot.pause()
        shown = screen.shown()
        assert "The blade's outline" in shown
        assert "points" in shown
        assert "7.3000    0.0000 in" in shown
        assert "diameter 0.2500 in" in shown
        await screen.pilot.press("down", "down", "escape")


@pytest.mark.parametrize(("unit", "text"), [("in", "178"), ("mm", "7.0"), ("in", "25.4 mm")])
def test_a_number_in_the_other_unit_is_told_how_it_is_taken(unit: Unit, text: str) -> None:
    with pytest.raises(InputError, match=r"[Ii]ts unit behind it"):
        Tracing(unit).understood(text)
    assert Tracing("in").understood("178 mm")[0].mm == pytest.approx(178.0)
    assert Tracing("mm").understood("7.0 in")[0].mm == pytest.approx(7.0 * MM_PER_INCH)


def test_a_trace_gone_on_with_in_the_other_unit_keeps_what_each_number_was(shop: Shop) -> None:
    texts = distances()
    left = Tracing("in", tuple(_entries([*SIDES, *texts[:5]])))
    keep_draft(shop, left)
    on = draft_of(shop, "mm")
    for text in texts[5:]:
        mm = float(text) * MM_PER_INCH
        on = on.taken(f"{mm:.2f}", round(mm, 2))
    row, _ = keep_by_calipers(shop, on, "Flipped")
    kept = row.source_text.split("; ")
    assert kept[0] == f"{SIDES[0]} = {float(SIDES[0]) * MM_PER_INCH:.3f} mm"
    last_mm = float(texts[-1]) * MM_PER_INCH
    assert kept[-1] == f"{last_mm:.2f} = {last_mm:.2f}0 mm"
