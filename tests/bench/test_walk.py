"""A whole ski at the screen, from received to signed off, by the numeric keypad alone."""

from __future__ import annotations

import pytest

from tests.bench.screens import SIZES, Screen, bench
from tests.shop import Fin, at_stage, heron, ski, walk_to
from workbench.records import rows
from workbench.work.shop import Shop


async def _step(screen: Screen, fin: Fin) -> None:
    """Do what the next-step line asks for, with keypad keys."""
    view = screen.view
    if view.checklist or view.stage == "sign-off":
        await screen.by_hand("+" if screen.app.hands.state.hands_on else "\n")
    elif view.stage in ("as received", "measuring"):
        await screen.by_hand(fin.text(view.lines[view.due or 0]) + "\n")
    elif view.stage == "target" and not view.progress.targets:
        await screen.by_hand("+.010\n")
    elif view.stage == "wing":
        await screen.by_hand("7.5\n")
    else:
        await screen.by_hand("\n")
        if screen.view.stage == "measuring" and view.stage == "turning":
            fin.follow(view)


async def _walk(screen: Screen, fin: Fin, until: str) -> None:
    for _ in range(60):
        if screen.view.stage == until:
            return
        before = screen.shown()
        assert "NEXT" in before
        await _step(screen, fin)
        for _ in range(20):  # a busy machine may paint later
            if screen.shown() != before:
                break
            await screen.settle()
        assert screen.shown() != before, f"a key did nothing at {screen.view.stage}"
    raise AssertionError(f"never reached {until}: stands at {screen.view.stage}")


@pytest.mark.parametrize("size", SIZES)
async def test_a_ski_from_received_to_signed_off_by_the_keypad(
    shop: Shop, size: tuple[int, int]
) -> None:
    """Checks, three readings, a change as target, turns, measuring, final check, sign-off."""
    async with bench(shop, size) as screen:
        assert (screen.view.ski.name, screen.view.stage) == ("Heron 66", "waiting")
        job, fin = screen.view.job.id, heron(screen.view)
        await _walk(screen, fin, "signed off")
        assert any(isinstance(f, rows.PassRow) for f in screen.view.facts)
        assert "signed off" in screen.shown()
        await screen.by_hand("\n")
        assert screen.view.job.id != job


async def test_a_ski_with_a_wing_by_the_keypad(shop: Shop) -> None:
    """The wing's angle is typed like a reading."""
    view = ski(shop, "Heron 67")
    fin = Fin(view, 0.690, -1.012, -0.10)
    walk_to(shop, view, fin, "within", ("+.008", "+.012", ""))
    async with bench(shop, (80, 24)) as screen:
        screen.app.hands.open(view.job.id)
        await _walk(screen, fin, "signed off")
        wings = [f.angle_deg for f in screen.view.facts if isinstance(f, rows.WingSetting)]
        assert wings == [7.5]


async def test_star_flips_the_unit_everywhere(shop: Shop) -> None:
    """Top line, readings and target are in the other unit at one key, and back."""
    view = ski(shop, "Heron 66")
    walk_to(shop, view, heron(view), "turning")
    async with bench(shop) as screen:
        before = screen.shown()
        assert "[in]" in before
        await screen.by_hand("*")
        flipped = screen.shown()
        assert "[mm]" in flipped
        assert f"{screen.view.lines[0].now_mm:.2f} mm" in flipped
        await screen.by_hand("*")
        assert screen.shown() == before


async def test_plus_and_minus_step_through_the_queue(shop: Shop) -> None:
    """With nothing typed or asked, + is the next ski and - the one before, round the end."""
    async with bench(shop) as screen:
        names = [line.ski_name for line in screen.app.hands.state.roster]
        await screen.by_hand("+")
        assert screen.view.ski.name == names[1]
        await screen.by_hand("--")
        assert screen.view.ski.name == names[-1]


async def test_the_sheet_by_number_takes_the_last_entry_back(shop: Shop) -> None:
    """Slash, 1, plus: what was last kept is struck out."""
    view = at_stage(shop, "studs")
    async with bench(shop, (80, 24)) as screen:
        screen.app.hands.open(view.job.id)
        await screen.by_hand("/1")
        await screen.settle()
        await screen.by_hand("+")
        await screen.settle()
        assert len(screen.app.screen_stack) == 1
        assert screen.view.stage == "as received"


async def test_the_sheet_marks_two_digit_numbers_and_closes_on_slash(shop: Shop) -> None:
    """1 then 5 marks the fifteenth; a number too large begins anew; slash closes."""
    async with bench(shop) as screen:
        await screen.by_hand("/15")
        assert "▸15" in screen.shown()
        await screen.by_hand("4")
        assert "▸ 4" in screen.shown()
        await screen.pilot.pause(0.2)
        await screen.by_hand("/")
        assert len(screen.app.screen_stack) == 1


async def test_set_aside_asks_for_a_reason_and_enter_takes_the_ski_up_again(shop: Shop) -> None:
    """The reason is shown with the ski; taken up, it stands where it was left."""
    async with bench(shop, (80, 24)) as screen:
        await screen.by_hand("s")
        await screen.settle()
        assert len(screen.app.screen_stack) == 2
        for char in "no bolt":
            await screen.pilot.press("space" if char == " " else char)
        await screen.pilot.pause(0.2)
        await screen.by_hand("\n")
        assert screen.view.stage == "set aside"
        assert "no bolt" in screen.shown()
        await screen.by_hand("\n")
        assert screen.view.stage == "waiting"


async def test_every_letter_of_the_sheet_is_answered_at_every_stage(shop: Shop) -> None:
    """Commands where they make no sense say so; none brings the bench down."""
    async with bench(shop, (80, 24)) as screen:
        for line in screen.app.hands.state.roster[::2]:
            screen.app.hands.open(line.job_id)
            for letter in "tbfkpdyjuh":
                screen.burst(letter)
                await screen.pilot.pause()
                if len(screen.app.screen_stack) > 1:
                    await screen.pilot.press("escape")
        assert screen.app.is_running
