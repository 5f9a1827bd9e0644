"""A newcomer's way, by keys alone: from an empty book to the first stud turn on a traced blade."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tests.bench.screens import NAMED, Screen, bench, fill
from tests.bench.test_trace_screen import HOLE_TEXTS, SIDES, _entries, distances
from tests.shop import empty_shop
from workbench.fin.frame import Pose
from workbench.measure.display import length_text
from workbench.measure.units import MM_PER_INCH as IN
from workbench.work.job.shop import Shop
from workbench.work.roster.adding import ensure_starter
from workbench.work.trace.by_calipers import Tracing, keep_draft

KEY_S, READING_S = 0.5, 8.0
"""A plain rate: half a second a key, eight seconds to set the caliper for a number (our guess)."""


class Newcomer:
    """Hands that know nothing but what the screen says; every key is counted."""

    def __init__(self, screen: Screen) -> None:
        self.screen = screen
        self.keys = self.numbers = 0

    async def press(self, *keys: str) -> None:
        self.keys += len(keys)
        await self.screen.pilot.press(*keys)
        await self.screen.settle()

    async def type(self, text: str, then: str = "enter") -> None:
        self.keys += len(text)
        await self.screen.pilot.press(*(NAMED.get(c, (c, c))[0] for c in text))
        if any(c.isalpha() for c in text):
            await self.screen.settle()  # Enter on the heels of letters is a scanner's
        await self.press(then)

    async def read(self, text: str) -> None:
        """Put the caliper to something and type what it shows."""
        self.numbers += 1
        await self.type(text)

    def done_before(self, texts: Sequence[str]) -> None:
        """Count numbers that lie in the draft already."""
        self.numbers += len(texts)
        self.keys += sum(len(text) + 1 for text in texts)

    @property
    def shown(self) -> str:
        text = "".join(" " if c in "┃│" else c for c in self.screen.shown())
        return " ".join(text.split())

    @property
    def minutes(self) -> float:
        return (KEY_S * self.keys + READING_S * self.numbers) / 60.0


async def first_turn(screen: Screen, shop: Shop) -> Newcomer:
    """Go from an empty book to the first stud turn; each next thing was named on the screen."""
    hand = Newcomer(screen)
    assert "Enter adds a ski" in hand.shown
    await hand.press("enter")
    await hand.type("Heron 68", "f2")
    assert "No blade and no block yet; : finds 'trace' and 'measure'" in hand.shown
    await hand.press("colon")
    await hand.type("trace")
    texts = distances()
    assert "length of the top edge" in hand.shown
    await hand.press("escape")
    taken = [*SIDES, *texts, *HOLE_TEXTS, "0", SIDES[0]]
    keep_draft(shop, Tracing("in", tuple(_entries(taken))))  # type: ignore[arg-type]
    hand.done_before(taken)
    hand.keys -= 1
    screen.app.do_("trace")
    await screen.settle()
    await hand.read(SIDES[3])
    assert "disagrees" not in hand.shown
    await hand.press("plus")
    await hand.type("Alder", "f2")
    assert "What it wears" in hand.shown  # offered, for the ski has no blade yet
    assert "Alder" in hand.shown
    await hand.press("f2")
    assert screen.view.blade_name == "Alder"
    await hand.press("colon")
    await hand.type("measure a b")
    assert "Measure a block" in hand.shown
    typed = {"name": "Heron block", "front_at": "6.20", "front_thread": "10-32 UNF",
             "rear_at": "1.50", "tail_at": "-0.6"}  # fmt: skip
    await fill(screen, **typed)
    hand.keys += sum(map(len, typed.values())) + 12  # and Enter from line to line
    hand.numbers += 3
    await hand.press("f2")
    assert "tail: its axis" in hand.shown
    await hand.press("escape")
    assert "What it wears" in hand.shown
    await hand.press("f2")
    assert screen.view.rig.missing == ()
    await hand.press("enter")
    while screen.view.check_due is not None:
        await hand.press("plus")
    pose = Pose(0.75 * IN, -1.05 * IN, 0.002)
    for line in screen.view.lines:
        await hand.read(length_text(screen.view.rig.observe(line.method, pose).value_mm, "in"))
    await hand.press("enter")  # the studs touch
    await hand.type("+.010")
    while screen.view.stage == "target":
        await hand.press("enter")
    await hand.press("enter")  # loosened
    return hand


async def test_from_an_empty_book_to_the_first_stud_turn(tmp_path: Path) -> None:
    with empty_shop(tmp_path) as shop:
        ensure_starter(shop.book, "")
        async with bench(shop, (80, 24)) as screen:
            hand = await first_turn(screen, shop)
            assert screen.view.stage == "turning"
            assert "stud" in hand.shown
            assert "STAND-IN" not in hand.shown
            plan = screen.view.plan
            assert plan is not None
            assert any(t.turns for t in plan.turns)
            assert hand.keys < 330
            assert hand.minutes < 9.0
