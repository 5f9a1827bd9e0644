"""A blade from a file at the bench: a form, the picture with its edges marked, kept at Enter."""

from __future__ import annotations

import random
from pathlib import Path
from threading import Event
from typing import Any

import pytest

from tests.bench.screens import SIZES, Screen, bench
from tests.work.scans import Scene, csv_of, random_blade, render, smaller
from workbench.bench.bases.forms import Form, drafts_of
from workbench.bench.screens.shop import scan_screen
from workbench.bench.screens.shop.scan_screen import TITLE, ScanScreen
from workbench.measure.units import MM_PER_INCH
from workbench.work.job.shop import Shop
from workbench.work.trace.tracing import trace_file

BLADE = random_blade(random.Random(3), n=40)


@pytest.fixture(scope="module")
def drawing(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The blade as points in mm, its file named Alder."""
    path = tmp_path_factory.mktemp("drawing") / "Alder.csv"
    path.write_text(csv_of([BLADE.outline_mm], "mm"), "utf-8")
    return path


async def begun(screen: Screen, **texts: str) -> None:
    """Fill in the form and let it trace."""
    screen.app.do_("trace_file")
    await screen.pilot.pause()
    form = screen.app.screen
    assert isinstance(form, Form)
    for row in form._rows:
        row.line.value = texts.get(row.field.key, "")
    await screen.pilot.press("f2")
    await screen.pilot.pause()


async def traced(screen: Screen) -> ScanScreen:
    """Wait until the trace is done."""
    found = screen.app.screen
    assert isinstance(found, ScanScreen)
    for _ in range(600):
        if not found.is_working:
            break
        await screen.pilot.pause(0.05)
    await screen.pilot.pause()
    return found


@pytest.mark.parametrize("size", SIZES)
async def test_a_drawing_is_shown_with_its_edges_and_kept_at_enter(
    shop: Shop, drawing: Path, size: tuple[int, int]
) -> None:
    async with bench(shop, size) as screen:
        await begun(screen, file=str(drawing))
        found = await traced(screen)
        shown = " ".join(screen.shown().split())
        long = max(u for u, _ in BLADE.outline_mm) / MM_PER_INCH
        for words in ("top 6.5", "back ", f"Alder, a new blade: {long:.3f} long", "Choice 1 of"):
            assert words in shown
        await screen.pilot.press("e")
        assert "Choice 2 of" in " ".join(screen.shown().split())
        assert found._found is not None
        count = len(found._found.traced.unframed.choices)
        for _ in range(count - 1):
            await screen.pilot.press("e")
        screen.burst("2.4750\n")  # a caliper's number keeps nothing
        await screen.pilot.pause(0.1)
        assert screen.app.screen is found
        await screen.pilot.pause(0.4)
        await screen.pilot.press("enter")
        await screen.pilot.pause()
        assert not isinstance(screen.app.screen, ScanScreen | Form)
    (kept,) = [b for b in shop.book.blades() if b.name == "Alder"]
    assert kept.traced.startswith("drawing (CSV)")
    assert kept.outline_mm == trace_file(str(drawing), "").blade.outline_mm


async def test_esc_keeps_nothing_and_the_form_has_what_was_typed(shop: Shop, drawing: Path) -> None:
    before = len(shop.book.blades())
    async with bench(shop, (80, 24)) as screen:
        await begun(screen, file=str(drawing), name="Birch", dpi="300")
        assert isinstance(screen.app.screen, Form)  # a drawing has no dpi
        assert "a drawing without a scale" in " ".join(screen.shown().split())
        await screen.pilot.press("escape")
        drafts_of(screen.app).pop(TITLE)
        await begun(screen, file=str(drawing), name="Birch")
        await traced(screen)
        await screen.pilot.press("escape")
        await screen.pilot.pause()
        form: Any = screen.app.screen
        assert isinstance(form, Form)
        assert form.texts["name"] == "Birch"
    assert len(shop.book.blades()) == before


async def test_a_scan_is_traced_in_a_thread_and_can_be_broken_off(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The picture is shown while it is worked on; Esc ends the thread at its next step."""
    path = tmp_path / "scan.png"
    render(smaller(BLADE, 0.3), Scene(dpi=300, margin_in=0.1), 1).save(path)
    ended: list[type[BaseException] | None] = []
    pressed = Event()

    def watched(file: str, name: str, ask: Any, told: Any) -> Any:
        def slowly(look: Any) -> None:
            told(look)
            pressed.wait(60.0)

        try:
            out = trace_file(file, name, ask, slowly)
        except BaseException as why:
            ended.append(type(why))
            raise
        ended.append(None)
        return out

    monkeypatch.setattr(scan_screen, "trace_file", watched)
    async with bench(shop, (120, 36)) as screen:
        await begun(screen, file=str(path), dpi="300")
        found = screen.app.screen
        assert isinstance(found, ScanScreen)
        while found.is_working and found._look is None:
            await screen.pilot.pause(0.02)
        await screen.pilot.press("escape")
        pressed.set()
        for _ in range(400):
            if ended:
                break
            await screen.pilot.pause(0.05)
        assert ended == [scan_screen.BrokenOffError]
        await screen.pilot.press("f2")
        await screen.pilot.pause()
        await traced(screen)
        assert "✗" not in screen.shown()
        assert "points" in screen.shown()
    assert all(b.name != "scan" for b in shop.book.blades())
