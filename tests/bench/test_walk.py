"""A whole ski at the screen, from received to signed off, by the numeric keypad alone."""

from __future__ import annotations

import pytest

from tests.bench.screens import SIZES, Screen, bench
from tests.shop import Fin, at_stage, heron, ski, walk_to
from workbench.bench.action_menu import CHOICES
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.trust.job_reading import Line


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


CAME_IN = (2.506, 0.740, 7.024)
"""Depth, tail and length (in) of the ski that is counted, a little off the setting it left with."""


class Counted:
    """Types with a count of the keys, and of those that are not a caliper's."""

    def __init__(self, screen: Screen) -> None:
        self.screen = screen
        self.typed = self.by_hand = 0

    async def hand(self, keys: str) -> None:
        self.typed += len(keys)
        self.by_hand += len(keys)
        await self.screen.by_hand(keys)

    async def caliper(self, text: str) -> None:
        """Type a reading; a caliper that types would send it."""
        self.typed += len(text) + 1
        await self.screen.by_hand(f"{text}\n")


def _short(fin: Fin, line: Line) -> str:
    """Return a reading to the thousandth in as few digits as a hand types it."""
    mm = fin.rig.observe(line.method, fin.pose).value_mm
    return f"{mm / 25.4:.3f}".replace(".", "").strip("0")


async def _counted(screen: Screen, target: str) -> Counted:
    """Do a ski from received to signed off in one round, with no key that decides nothing."""
    keys, fin = Counted(screen), heron(screen.view)
    rig, lines = fin.rig, screen.view.lines
    came = [Reading(x.method, v * 25.4, 0.02) for x, v in zip(lines, CAME_IN, strict=True)]
    fin.pose = fit_pose(rig.blade, rig.base, came).pose
    for _ in range(60):
        view = screen.view
        if view.stage == "signed off":
            return keys
        if view.checklist or view.stage == "sign-off":
            await keys.hand("+" if screen.app.hands.state.hands_on else "\n")
        elif view.stage in ("as received", "measuring"):
            assert screen.app.hands.state.question is None, screen.app.hands.state.question
            await keys.caliper(_short(fin, view.lines[view.due or 0]))
        elif view.stage == "target":
            await keys.hand(target if not view.progress.targets else "\n")
        else:
            await keys.hand("\n")
            if screen.view.stage == "measuring" and view.stage == "turning":
                fin.follow(view)
    raise AssertionError(f"never signed off: stands at {screen.view.stage}")


@pytest.mark.parametrize(
    ("target", "most", "most_by_hand"),
    [("\n", 45, 18), ("+10+5-15\n", 53, 26)],
    ids=["back to the setting it left with", "three changes typed"],
)
async def test_the_keys_of_a_whole_ski_are_few(
    shop: Shop, target: str, most: int, most_by_hand: int
) -> None:
    """Received to signed off, one round, three targets, no wing: all keys, and those by hand with a
    caliper that types. Every check is ticked and every act of the round is confirmed.

    Besides the targets that takes 16 by hand: six ticks with an Enter before them, the studs, five
    acts of the round (loosen, three studs, seat and snug), the settings accepted, and two to sign
    off; and 27 for six readings. Three targets taken as offered are two keys more; three changes
    typed are eight for signs and digits, one Enter behind the last and one that accepts them.
    """
    async with bench(shop) as screen:
        keys = await _counted(screen, target)
        facts = screen.view.facts
        assert len([f for f in facts if isinstance(f, rows.PassRow)]) == 1
        assert len([f for f in facts if isinstance(f, rows.Target)]) == 3
        assert [f.checklist for f in facts if isinstance(f, rows.Tick)] == (
            ["received"] * 3 + ["final"] * 3
        )
        assert keys.typed <= most
        assert keys.by_hand <= most_by_hand


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


async def test_page_keys_step_through_the_queue_and_signs_never_do(shop: Shop) -> None:
    """Onto a ski in the target stage and on again; + and - leave every ski where it is."""
    async with bench(shop) as screen:
        names = [line.ski_name for line in screen.app.hands.state.roster]
        at_target = next(
            i for i, x in enumerate(screen.app.hands.state.roster) if x.stage == "target"
        )
        for name in names[1 : at_target + 2]:
            await screen.pilot.press("pagedown")
            assert screen.view.ski.name == name
        await screen.pilot.press("pageup")
        assert screen.view.stage == "target"
        await screen.pilot.press("pageup")
        assert screen.view.ski.name == names[at_target - 1]
        for line in screen.app.hands.state.roster:
            screen.app.hands.open(line.job_id)
            before = screen.view.progress
            await screen.by_hand("+-")
            assert (screen.view.job.id, screen.view.progress) == (line.job_id, before)
            await screen.pilot.press("escape")


async def test_the_queue_is_stepped_through_from_the_keypad_by_the_sheet(shop: Shop) -> None:
    """A slash begins no number: slash, the number on the sheet, plus."""
    async with bench(shop, (80, 24)) as screen:
        names = [line.ski_name for line in screen.app.hands.state.roster]
        for action, name in (("next_ski", names[1]), ("ski_before", names[0])):
            await screen.by_hand("/")
            await screen.settle()
            number = [choice.action for choice in CHOICES].index(action) + 1
            await screen.by_hand(str(number))
            await screen.settle()
            await screen.by_hand("+")
            await screen.settle()
            assert screen.view.ski.name == name


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
